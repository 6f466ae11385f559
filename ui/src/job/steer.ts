/** Steering the shell with the hand: walls that move are answered at once, and kept when asked. */

import { at } from "../api/at";
import { signal } from "@preact/signals";
import { call, Refusal } from "../api/call";
import type { components } from "../api/schema";
import type { Job, Sheet, V3 } from "../api/kinds";
import { inTurn } from "../live/in_turn";
import type { LockOn, WallOn } from "../view3d/kinds";
import type { Scene } from "./scene";

/** A preview as the interface has it, its points by threes. */
export type Steered = Omit<components["schemas"]["Preview"], "locks" | "stretches" | "walls"> & { locks: { place_mm: V3; volume_cm3: number; sentence: string }[]; stretches: { points_mm: V3[] }[] };
export interface Wall { through?: V3; facing?: V3; bend?: V3[] | null; line?: V3[] }

/** What the hand has moved and not yet kept. */
export interface Draft { walls: Wall[]; pulls: V3[] | null; answer: Steered | null; refusal: Refusal | null; busy: boolean }

export const draft = signal<Draft | null>(null);

const asking = inTurn();

/** Asks what a shell at these walls would cost; while one question is open, only the last waits. */
export function tryWalls(run: string, scene: Scene, walls: Wall[], pulls: V3[] | null): void {
  if (pulls !== (draft.peek()?.pulls ?? null)) scene.change({ pulls: pullsOn(pulls) });
  draft.value = { walls, pulls, answer: draft.peek()?.answer ?? null, refusal: null, busy: true };
  asking.ask((signal) =>
    call("POST", at("/api/runs/{run_id}/preview", { run_id: run }), pulls ? { walls, pulls } : { walls }, signal).then(
      (answer) => settle({ walls, pulls, answer: answer as unknown as Steered, refusal: null, busy: asking.waits() }, scene),
      (error: unknown) => error instanceof Refusal && settle({ walls, pulls, answer: null, refusal: error, busy: asking.waits() }, scene),
    ),
  );
}

/** The first question wakes who answers; asked ahead, the hand does not wait for it. */
export function warmUp(run: string, walls: Wall[]): void {
  call("POST", at("/api/runs/{run_id}/preview", { run_id: run }), { walls }).catch(() => undefined);
}

function settle(now: Draft, scene: Scene): void {
  if (!draft.peek()) return; // put back meanwhile
  draft.value = now;
  scene.change({ locks: (now.answer?.locks ?? []).map(lockOn), stretches: (now.answer?.stretches ?? []).map((s) => s.points_mm) });
}

export function lockOn(lock: { place_mm: V3; volume_cm3: number; sentence: string }): LockOn {
  return { place: lock.place_mm, volume_cm3: lock.volume_cm3, words: lock.sentence };
}

/** The name of the piece that a pull belongs to; they are counted from one. */
const NAMED = "shell-";

/** Which pull of a plan, counted from none, the arrow of a part shows. */
export function pullAt(part: string): number {
  return Number(part.slice(NAMED.length)) - 1;
}

/** Moved pulls by the parts whose arrows show them. */
function pullsOn(pulls: V3[] | null): Record<string, V3> {
  return Object.fromEntries((pulls ?? []).map((pull, i) => [`${NAMED}${i + 1}`, pull]));
}

/** Whether a wall meets nothing: each that meets the part makes one piece more. */
export function misses({ walls, answer }: Draft): boolean {
  return answer !== null && answer.pieces < walls.length + 1;
}

/** Back to what the plan has. */
export function putBack(scene: Scene): void {
  asking.stop();
  draft.value = null;
  scene.change({ walls: [], pulls: {}, locks: [], stretches: [], line: null, tool: "turn" });
}

export function wallsOf(walls: Wall[] | undefined, locked: boolean): WallOn[] {
  return (walls ?? []).filter((w) => w.through && w.facing).map((w, i) => ({ id: String(i), through: w.through!, facing: w.facing!, bend: w.bend ?? null, locked }));
}

export interface Steering { walls?: Wall[] | null; pulls?: V3[] | null; up?: V3 | null; paint?: { at: V3; radius_mm: number; copied: boolean }[] | null }

/** Writes what the hand did into the sheet; places are in the axes of the plan that is shown. */
export function keep(job: Job, run: string, version: number, steering: Steering): Promise<Sheet> {
  return call("POST", at("/api/jobs/{job_id}/steer", { job_id: job.id }), { version, run_id: run, ...steering });
}
