/** Sentences of the program as the page tells them: in its own words for what is set, in the units in use. */

import { inUnits } from "../units";

/** Options of the command line, and what stands for them on the page. */
const HERE: [RegExp, string][] = [
  [/,? for example (?:--|[–—])up [-\d.,]*\d/g, ' with "Up is toward me"'],
  [/(?:--|[–—])up( [-\d.,]+\d)?/g, 'up, with "Up is toward me"'],
  [/the unit(?: of the file)? with (?:--|[–—])unit\b/g, "the unit in the sheet"],
  [/(?:--|[–—])unit\b/g, "the unit in the sheet"],
  [/(?:--|[–—])scale\b/g, "the scale in the sheet"],
  [/(?:--|[–—])wall\b/g, "wall in the sheet"],
  [/(?:--|[–—])shell-pieces\b/g, "another number of pieces"],
  [/master\.paint, number (\d+),/g, "Dab $1"],
  [/master\.paint/g, "The paint"],
];

const POWERS: Record<string, string> = { cm2: "cm²", cm3: "cm³", mm2: "mm²", mm3: "mm³" };

export function told(sentence: string): string {
  const here = HERE.reduce((words, [option, page]) => words.replace(option, page), sentence);
  return inUnits(here).replace(/(?<=\d\s?)[cm]m[23]\b/g, (unit) => POWERS[unit]!);
}
