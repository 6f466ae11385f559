import { at } from "../api/at";
import { useState } from "preact/hooks";
import type { Look, V3 } from "../api/kinds";
import type { Axis, Look as From } from "../view3d/kinds";
import { t } from "../words";
import { mapsOf, mapUrl, savePicture, type Scene } from "./scene";

interface Props {
  scene: Scene;
  run: string;
  look: Look;
  pull: V3;
  name: string;
  canCompare: boolean;
}

const FROM: From[] = ["three-quarter", "front", "back", "left", "right", "above", "below"];
const AXES: Axis[] = ["x", "y", "z", "view"];

/** What can be done to the view, in words; one row opens at a time. */
export function Tools({ scene, run, look, pull, name, canCompare }: Props) {
  const [open, setOpen] = useState<"" | "colour" | "cut" | "parts" | "from">("");
  const view = scene.view.value;
  const planned = look.meshes.some((mesh) => mesh.role !== "arrived");
  const maps = mapsOf(look, view.shown);
  const toggle = (row: typeof open) => () => setOpen(open === row ? "" : row);
  const word = (row: Exclude<typeof open, "">, on = false) => (
    <button aria-expanded={open === row} class={on ? "on" : ""} onClick={toggle(row)}>{t.job.tools[row]}</button>
  );
  const shells = look.meshes.filter((mesh) => mesh.role === "shell" && view.shown[mesh.name]);
  return (
    <div class="tools">
      <div class="tools-row" role="toolbar" aria-label={t.job.tools.bar}>
        {word("from")}
        {maps.length > 0 && word("colour", view.map !== null)}
        {word("cut", view.cut !== null)}
        {planned && word("parts")}
        {shells.length > 0 && (
          <label class="slide">{t.job.tools.apart}
            <input type="range" min="0" max="1" step="0.01" value={view.apart} onInput={(e) => scene.change({ apart: Number(e.currentTarget.value) })} />
          </label>
        )}
        <button aria-pressed={view.tool === "measure"} onClick={() => scene.change({ tool: view.tool === "measure" ? "turn" : "measure" })}>{t.job.tools.measure}</button>
        {canCompare && <button aria-pressed={view.compare !== null} onClick={() => scene.change({ compare: view.compare === null ? 0.5 : null })}>{t.job.tools.compare}</button>}
        <button aria-pressed={view.head !== null} onClick={() => scene.change({ head: view.head ? null : { url: at("/api/headform") } })}>{t.job.tools.head}</button>
        <button onClick={() => void savePicture(scene, name)}>{t.job.tools.picture}</button>
      </div>
      {open === "from" && (
        <div class="tools-row more">
          {FROM.map((from) => <button key={from} onClick={() => scene.bench.at?.look(from)}>{t.job.from[from]}</button>)}
        </div>
      )}
      {open === "colour" && (
        <div class="tools-row more">
          <button aria-pressed={view.map === null} onClick={() => scene.change({ map: null })}>{t.job.tools.plain}</button>
          {maps.map((map) => (
            <button key={`${map.part}/${map.name}`} aria-pressed={view.map?.part === map.part && view.map.title === map.title}
              onClick={() => scene.change({ map: { part: map.part, url: mapUrl(run, map, pull), title: map.title, unit: map.unit } })}>
              {map.title}
            </button>
          ))}
        </div>
      )}
      {open === "cut" && (
        <div class="tools-row more">
          <button aria-pressed={view.cut === null} onClick={() => scene.change({ cut: null })}>{t.job.tools.whole}</button>
          {AXES.map((axis) => (
            <button key={axis} aria-pressed={view.cut?.axis === axis} onClick={() => scene.change({ cut: { axis, at: view.cut?.at ?? 0.5, flip: view.cut?.flip ?? false } })}>{t.job.axes[axis]}</button>
          ))}
          {view.cut && (
            <>
              <label class="slide">{t.job.tools.where}
                <input type="range" min="0" max="1" step="0.005" value={view.cut.at} onInput={(e) => scene.change({ cut: { ...view.cut!, at: Number(e.currentTarget.value) } })} />
              </label>
              <button aria-pressed={view.cut.flip} onClick={() => scene.change({ cut: { ...view.cut!, flip: !view.cut!.flip } })}>{t.job.tools.otherSide}</button>
            </>
          )}
        </div>
      )}
      {open === "parts" && (
        <div class="tools-row more">
          {look.meshes.filter((mesh) => mesh.role !== "arrived").map((mesh) => {
            const isShown = view.shown[mesh.name] !== false;
            const isGhost = view.ghost.includes(mesh.name);
            const next = !isShown ? "solid" : isGhost ? "none" : "glass";
            return (
              <button key={mesh.name} class={isShown ? (isGhost ? "glass" : "on") : ""} aria-label={t.job.partIs(mesh.title, isShown ? (isGhost ? "glass" : "solid") : "none")}
                onClick={() => scene.change({
                  shown: { ...view.shown, [mesh.name]: next !== "none" },
                  ghost: next === "glass" ? [...view.ghost, mesh.name] : view.ghost.filter((n) => n !== mesh.name),
                })}>
                {mesh.title}
              </button>
            );
          })}
          <span class="small">{t.job.partsHelp}</span>
        </div>
      )}
    </div>
  );
}
