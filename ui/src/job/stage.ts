/** What each stage of a job is handed. */

import type { Job, Look } from "../api/kinds";
import type { Mind, Plan } from "./minds";
import type { Scene } from "./scene";
import type { SheetAtHand } from "./useSheet";

export interface Stage {
  job: Job;
  /** The run whose meshes are shown. */
  run: string | null;
  look: Look | null;
  /** plan.json of that run, once there is one. */
  plan: Plan | null;
  hand: SheetAtHand;
  scene: Scene;
  minds: Mind[];
}
