/** Sentences of the program as the page tells them: in its own words for what is set, in the units in use. */

import { inUnits } from "../units";

/** Options of the command line, and what stands for them on the page. */
const HERE: [RegExp, string][] = [
  [/,? for example --up [-\d.,]*\d/g, ' with "Up is toward me"'],
  [/--up( [-\d.,]+\d)?/g, 'up, with "Up is toward me"'],
  [/the unit with --unit|the unit of the file with --unit/g, "the unit in the sheet"],
  [/--unit/g, "the unit in the sheet"],
  [/--scale/g, "the scale in the sheet"],
  [/--wall/g, "wall in the sheet"],
  [/--shell-pieces/g, "another number of pieces"],
];

export function told(sentence: string): string {
  return inUnits(HERE.reduce((words, [option, here]) => words.replace(option, here), sentence));
}
