/** What the tools of the bench work on. */

import type { Hit } from "./pick";
import type { Point } from "./hands";
import type { Heard, View } from "./kinds";
import type { Palette } from "./palette";
import type { Parts, Piece } from "./parts";
import type { Stage } from "./stage";
import type { Turning } from "./turn";

export interface Bed {
  stage: Stage;
  turning: Turning;
  parts: Parts;
  heard: Heard;
  view(): View;
  palette(): Palette;
  /** The first face under the pointer, seen through ghosts and past what is cut away. */
  hitAt(at: Point, pieces?: Piece[]): Hit | null;
}
