/**
 * What the page tells the 3D view, and what it hears back. Plain data, millimetres, z up.
 * This file imports nothing, so that the page knows the words without loading the view.
 */

export type V3 = [number, number, number];

/** What a mesh is in the mould; it decides its colour and its side in a comparison. */
export type Role = "arrived" | "master" | "body" | "skin" | "shell" | "loose";

export interface Part {
  name: string;
  role: Role;
  title: string;
  /** Where its raw container lies; fetched once for as long as a part names it. */
  url: string;
  /** 16 numbers, row by row, applied to the mesh; null leaves it where it is. */
  matrix: number[] | null;
  /** Unit direction the piece leaves along, or null. */
  pull: V3 | null;
}

export interface Pin {
  id: string;
  number: number;
  place: V3;
  words: string;
  weight: "stop" | "mind" | "note";
  active?: boolean;
}

/** A map over one part: `url` leads to a container with one float per vertex, "values". */
export interface MapOn {
  part: string;
  url: string;
  title: string;
  unit: string;
}

/** A parting wall: a plane, or the points of a bent line that is ruled along its rise. */
export interface WallOn {
  id: string;
  through: V3;
  facing: V3;
  bend?: V3[] | null;
  locked: boolean;
}

/** Where a piece would not come off. */
export interface LockOn {
  place: V3;
  volume_cm3: number;
  words: string;
  points?: V3[];
}

export type Axis = "x" | "y" | "z" | "view";

/**
 * `at` runs from 0 to 1 through the box of what is shown. What lies toward the three-quarter look
 * (low x, low y, high z) is taken away, or the other side by `flip`. "view" faces the eye as it
 * stood when it was chosen.
 */
export interface Cut {
  axis: Axis;
  at: number;
  flip: boolean;
}

export type Tool = "turn" | "measure" | "brush" | "line" | "walls";

/** A ball of paint: faces within it that look the same way as the one it was set on. */
export interface Dab {
  at: V3;
  radius_mm: number;
  copied: boolean;
}

export interface View {
  parts: Part[];
  /** By name; a part that is not named is shown. */
  shown: Record<string, boolean>;
  /** Names of parts that are seen through. */
  ghost: string[];
  /** 0 as they lie, 1 drawn well apart: shell pieces along their pulls, skin and body along z. */
  apart: number;
  cut: Cut | null;
  map: MapOn | null;
  pins: Pin[];
  /** Where the line stands, 0..1 of the width: "arrived" left of it, "master" right of it. */
  compare: number | null;
  tool: Tool;
  brush: { radius_mm: number; copied: boolean };
  dabs: Dab[];
  /** Closed lines around what would be copied. */
  border: V3[][];
  walls: WallOn[];
  /** By name of a part: where its pull has been turned to, else it has its own. */
  pulls?: Record<string, V3>;
  locks: LockOn[];
  /** Stretches of a drawn line that lock. */
  stretches: V3[][];
  line: V3[] | null;
  /** Another word here frames the camera anew; without one, other parts do. */
  frame?: string;
  /** A headform beside the part. */
  head: { url: string } | null;
  units: "mm" | "in";
  dark: boolean;
}

export interface Picked {
  part: string;
  title: string;
  place: V3;
  value: number | null;
  unit: string;
}

export interface Measured {
  from: V3;
  to: V3;
  length_mm: number;
}

/** For the page to draw: `stops` are CSS colours from low to high, evenly spaced. */
export interface Legend {
  title: string;
  unit: string;
  low: number;
  high: number;
  stops: string[];
}

export interface Heard {
  ready(): void;
  loading(share: number): void;
  failed(words: string): void;
  picked(p: Picked | null): void;
  measured(m: Measured | null): void;
  /** For each dab while brushing, spaced by half the radius; whether it begins a stroke. */
  dabbed(d: Dab, begins: boolean): void;
  /** Once a frame while a wall is dragged, and once more, done, at the end. */
  walled(w: WallOn, done: boolean): void;
  pulled(part: string, pull: V3, done: boolean): void;
  /** A freehand line on the surface, a point about every 3 mm. */
  lined(points: V3[]): void;
  pinned(id: string): void;
  scale(legend: Legend | null): void;
  /** The comparison's line was moved; the page sets `compare` to it. */
  compared?(at: number): void;
  /** Escape was pressed: the page goes back to the tool "turn". */
  left?(): void;
}

export type Look = "front" | "back" | "left" | "right" | "above" | "below" | "three-quarter";

export interface Bench {
  set(view: View): void;
  flyTo(place: V3, from?: V3): void;
  look(from: Look): void;
  /** Unit, from the object to the eye, in scene axes: for "the side I look at". */
  toward(): V3;
  picture(width: number, height: number): Promise<Blob>;
  setRange(low: number, high: number): void;
  dispose(): void;
}
