/** Which colour stands for what on the bench, by day and by night. */

import { Color } from "three";
import type { Role } from "./kinds";

export interface Palette {
  paper: Color;
  ink: Color;
  faint: Color;
  accent: Color;
  ochre: Color;
  red: Color;
  head: Color;
  none: Color;
  sky: Color;
  earth: Color;
}

const DAY: Palette = {
  paper: new Color("#f3f1ec"),
  ink: new Color("#1b2225"),
  faint: new Color("#c9c4b8"),
  accent: new Color("#14568c"),
  ochre: new Color("#c08a2d"),
  red: new Color("#b3261e"),
  head: new Color("#cfccc4"),
  none: new Color("#a9a9a6"),
  sky: new Color(0.53, 0.53, 0.525),
  earth: new Color(0.31, 0.295, 0.28),
};

const NIGHT: Palette = {
  paper: new Color("#14181a"),
  ink: new Color("#e9e6df"),
  faint: new Color("#3a4245"),
  accent: new Color("#7db7e8"),
  ochre: new Color("#d8a548"),
  red: new Color("#ff7a6b"),
  head: new Color("#8b8f90"),
  none: new Color("#75797a"),
  sky: new Color(0.42, 0.43, 0.445),
  earth: new Color(0.19, 0.19, 0.19),
};

export function paletteOf(dark: boolean): Palette {
  return dark ? NIGHT : DAY;
}

const BY_ROLE: Record<Exclude<Role, "shell">, Color> = {
  arrived: new Color("#b9b2a4"),
  master: new Color("#b9b2a4"),
  body: new Color("#b08968"),
  skin: new Color("#5f9ea0"),
  loose: new Color("#c99a45"),
};

/** Bandage white to straw: neighbours differ, and all are of one stuff. */
const SHELLS = ["#e6dfcd", "#d3c6a2", "#dcdad2", "#c9bda8", "#e5d7b4", "#cfcdbd"].map((c) => new Color(c));

/** The colour of a part; `nth` counts the shell pieces. */
export function colourOf(role: Role, nth: number): Color {
  return role === "shell" ? SHELLS[nth % SHELLS.length]! : BY_ROLE[role];
}

export const SKIN_OPACITY = 0.9;
