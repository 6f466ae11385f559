/** The 3D view, loaded when a page first needs it. */

export { makeBench } from "./bench";
export type * from "./kinds";
