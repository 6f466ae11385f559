/** Every word of the page, in one place; another language is another file like this one. */

import { pages } from "./en-pages";

const count = (n: number, one: string, many: string): string => `${n} ${n === 1 ? one : many}`;

export const words = {
  ...pages,

  name: "firstpull",
  nav: { jobs: "Jobs", materials: "Materials", away: "Put away", main: "Main", units: "Units", metric: "mm g °C", inch: "in oz °F" },
  lost: "The program does not answer. This page tries again by itself; nothing you entered is gone.",
  nowhere: { title: "Nothing is kept under this address", back: "Back to the jobs" },
  common: {
    cancel: "Cancel", close: "Close", save: "Keep", undo: "Undo", edit: "Change", yes: "Yes", no: "No",
    assumed: "assumed", given: "said by you", loading: "One moment …", none: "none",
  },
  why: {
    title: "Why this figure?", formula: "How it is worked out", inputs: "What went in", rows: "What it rests on",
    spread: (low: string, middle: string, high: string): string => `One in ten comes out below ${low}, half below ${middle}, nine in ten below ${high}.`,
    mark: (mark: string): string => ({ published: "published", "common practice": "common practice", "from memory": "from memory: look at your tin", own: "this shop's own figure" })[mark] ?? mark,
    range: (low: string, high: string): string => `${low} to ${high} over the class`, ownRange: (low: string, high: string): string => `${low} to ${high}, your own range`,
    own: "Use this shop's own figure", of: (figure: string, name: string): string => `${figure.replaceAll("_", " ")} of ${name}`,
    none: "No spread is known for this figure.", why: "Why?",
  },
  run: {
    waiting: "Waits for its turn", working: (what: string): string => what.charAt(0).toUpperCase() + what.slice(1), cancel: "Stop",
    failed: "The plan stopped", again: "Try again", stale: "Sheet or figures have changed since this plan.", replan: "Plan again", cancelled: "Stopped before it was done.",
    percent: (share: number): string => `${Math.round(share * 100)} %`,
  },
  pieces: (n: number): string => count(n, "piece", "pieces"),
  castings: (n: number): string => count(n, "good casting", "good castings"),
  triangles: (n: number): string => `${n.toLocaleString("en-GB").replaceAll(",", "\u202f")} triangles`,
  count,
};

export type Words = typeof words;
