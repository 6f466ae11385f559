/** What the 3D view of a job shows: one signal a page holds, changed by the stages beside it. */

import { at } from "../api/at";
import { signal, type Signal } from "@preact/signals";
import type { Look, LookMesh, StageName, V3 } from "../api/kinds";
import { system } from "../units";
import type { Bench, Dab, Legend, Measured, Part, Picked, View } from "../view3d/kinds";
import { t } from "../words";
import type { Mind } from "./minds";

export interface Scene {
  view: Signal<View>;
  legend: Signal<Legend | null>;
  picked: Signal<Picked | null>;
  measured: Signal<Measured | null>;
  state: Signal<{ name: "empty" | "loading" | "ready" | "failed"; words: string; share: number }>;
  bench: { at: Bench | null };
  /** What the tools say back to the stage that is open. */
  heard: { walled?: (id: string, through: V3, facing: V3, done: boolean) => void; pulled?: (part: string, pull: V3, done: boolean) => void; lined?: (line: V3[]) => void; dabbed?: (dab: Dab, begins: boolean) => void };
  change: (part: Partial<View>) => void;
  fly: (mind: Mind) => void;
}

/** How far a mould is drawn apart at first. */
export const APART = 0.8;

const dark = matchMedia("(prefers-color-scheme: dark)");

export function makeScene(): Scene {
  const view = signal<View>({
    parts: [], shown: {}, ghost: [], apart: 0, cut: null, map: null, pins: [], compare: null, tool: "turn",
    brush: { radius_mm: 8, copied: true }, dabs: [], border: [], walls: [], locks: [], stretches: [], line: null, head: null,
    units: system.value === "inch" ? "in" : "mm", dark: dark.matches,
  });
  const scene: Scene = {
    view,
    legend: signal(null),
    picked: signal(null),
    measured: signal(null),
    state: signal({ name: "empty", words: "", share: 0 }),
    bench: { at: null },
    heard: {},
    change: (part) => {
      view.value = { ...view.peek(), ...part };
    },
    fly: (mind) => {
      if (!mind.place) return;
      scene.change({ pins: view.peek().pins.map((pin) => ({ ...pin, active: pin.id === mind.id })) });
      scene.bench.at?.flyTo(mind.place);
    },
  };
  dark.addEventListener("change", () => scene.change({ dark: dark.matches }));
  return scene;
}

export function pinsOf(minds: Mind[]): View["pins"] {
  return minds.filter((m) => m.place).map((m) => ({ id: m.id, number: m.number, place: m.place!, words: m.words, weight: m.weight }));
}

/** The meshes of a look as parts of the view; what is in file axes is laid into the mould's. */
export function partsOf(run: string, look: Look): Part[] {
  return look.meshes.map((mesh) => ({
    name: mesh.name,
    role: mesh.role,
    title: mesh.title,
    url: at("/api/runs/{run_id}/meshes/{name}.box", { run_id: run, name: mesh.name }),
    matrix: mesh.frame === "file" ? look.to_mould : null,
    pull: mesh.pull as V3 | null,
  }));
}

const SHOWN: Record<StageName, (mesh: LookMesh, planned: boolean) => boolean> = {
  master: (mesh, planned) => mesh.role === (planned ? "master" : "arrived"),
  mould: (mesh) => mesh.role !== "arrived" && mesh.role !== "master",
  cast: (mesh) => mesh.role === "master",
};

/** Which parts a stage shows at first. */
export function shownAt(stage: StageName, look: Look): Record<string, boolean> {
  const planned = look.meshes.some((mesh) => mesh.role === "master");
  return Object.fromEntries(look.meshes.map((mesh) => [mesh.name, SHOWN[stage](mesh, planned)]));
}

export interface MapChoice { part: string; name: string; title: string; unit: string; needsPull: boolean }

/** The maps that the parts on show can carry. */
export function mapsOf(look: Look, shown: Record<string, boolean>): MapChoice[] {
  return look.meshes
    .filter((mesh) => shown[mesh.name] !== false)
    .flatMap((mesh) => mesh.maps.map((map) => ({ part: mesh.name, name: map.name, title: map.title, unit: map.unit, needsPull: map.name === "fill_mm" })));
}

/** Address of a map; one that hangs on a direction takes it along. */
export function mapUrl(run: string, map: MapChoice, pull?: V3): string {
  const direction = pull?.map((c) => c.toFixed(4)).join(",");
  return at("/api/runs/{run_id}/maps/{mesh}/{name}", { run_id: run, mesh: map.part, name: map.name }, { direction });
}

/** Saves what the eyes see. */
export async function savePicture(scene: Scene, name: string): Promise<void> {
  const blob = await scene.bench.at?.picture(1600, 1200);
  if (!blob) return;
  const link = document.createElement("a");
  link.href = URL.createObjectURL(blob);
  link.download = `${name.replace(/[^\w -]+/g, "").trim() || t.name}.png`;
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
}
