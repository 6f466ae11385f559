import { at } from "../api/at";
import { useState } from "preact/hooks";
import type { Look, StageName, V3 } from "../api/kinds";
import type { Axis, Look as From, MapOn } from "../view3d/kinds";
import { jobWords as w } from "../words/job";
import { APART, mapsOf, mapUrl, savePicture, shownAt, type MapChoice, type Scene } from "./scene";

interface Props {
  scene: Scene;
  run: string;
  look: Look;
  pulls: V3[];
  stage: StageName;
  name: string;
  canCompare: boolean;
}

const FROM: From[] = ["three-quarter", "front", "back", "left", "right", "above", "below"];
const AXES: Axis[] = ["x", "y", "z", "view"];

/** What can be done to the view, in words; one row opens at a time. */
export function Tools({ scene, run, look, pulls, stage, name, canCompare }: Props) {
  const [open, setOpen] = useState<"" | "colour" | "cut" | "parts" | "from">("");
  const view = scene.view.value;
  const planned = look.meshes.some((mesh) => mesh.role !== "arrived");
  const maps = mapsOf(look, view.shown);
  const toggle = (row: typeof open) => () => setOpen(open === row ? "" : row);
  const word = (row: Exclude<typeof open, "">, on = false) => (
    <button aria-expanded={open === row} class={on ? "on" : ""} onClick={toggle(row)}>{w.tools[row]}</button>
  );
  const shells = look.meshes.filter((mesh) => mesh.role === "shell" && view.shown[mesh.name]);
  return (
    <div class="tools">
      <div class="tools-row" role="toolbar" aria-label={w.tools.bar}>
        {word("from")}
        {maps.length > 0 && word("colour", view.map !== null)}
        {word("cut", view.cut !== null)}
        {planned && word("parts")}
        {shells.length > 0 && (
          <label class="slide">{w.tools.apart}
            <input type="range" min="0" max="1" step="0.01" value={view.apart} onInput={(e) => scene.change({ apart: Number(e.currentTarget.value) })} />
          </label>
        )}
        <button aria-pressed={view.tool === "measure"} onClick={() => scene.change({ tool: view.tool === "measure" ? "turn" : "measure", head: null })}>{w.tools.measure}</button>
        {canCompare && <button aria-pressed={view.compare !== null} onClick={() => scene.change({ compare: view.compare === null ? 0.5 : null, head: null })}>{w.tools.compare}</button>}
        <button aria-pressed={view.head !== null} onClick={() => scene.change({ head: view.head ? null : { url: at("/api/headform") } })}>{w.tools.head}</button>
        <button onClick={() => void savePicture(scene, name)}>{w.tools.picture}</button>
      </div>
      {open === "from" && (
        <div class="tools-row more">
          {FROM.map((from) => <button key={from} onClick={() => scene.bench.at?.look(from)}>{w.from[from]}</button>)}
        </div>
      )}
      {open === "colour" && (
        <div class="tools-row more">
          <button aria-pressed={view.map === null} onClick={() => scene.change({ map: null, shown: shownAt(stage, look), apart: stage === "mould" ? APART : 0, frame: stage })}>{w.tools.plain}</button>
          {maps.filter((map) => !map.needsPull).map((map) => <Colour key={`${map.part}/${map.name}`} scene={scene} map={map} url={mapUrl(run, map)} title={map.title} />)}
          {maps.filter((map) => map.needsPull).map((map) => (
            <>
              {pulls.map((pull, i) => <Colour key={i} scene={scene} map={map} url={mapUrl(run, map, pull)} title={w.fillPull(i + 1)} />)}
              <button aria-pressed={view.map?.title === w.fillToward} onClick={() => scene.bench.at && colour(scene, { part: map.part, url: mapUrl(run, map, scene.bench.at.toward()), title: w.fillToward, unit: map.unit })}>{w.fillToward}</button>
            </>
          ))}
        </div>
      )}
      {open === "cut" && (
        <div class="tools-row more">
          <button aria-pressed={view.cut === null} onClick={() => scene.change({ cut: null })}>{w.tools.whole}</button>
          {AXES.map((axis) => (
            <button key={axis} aria-pressed={view.cut?.axis === axis} onClick={() => scene.change({ cut: { axis, at: view.cut?.at ?? 0.5, flip: view.cut?.flip ?? false }, head: null })}>{w.axes[axis]}</button>
          ))}
          {view.cut && (
            <>
              <label class="slide">{w.tools.where}
                <input type="range" min="0" max="1" step="0.005" value={view.cut.at} onInput={(e) => scene.change({ cut: { ...view.cut!, at: Number(e.currentTarget.value) } })} />
              </label>
              <button aria-pressed={view.cut.flip} onClick={() => scene.change({ cut: { ...view.cut!, flip: !view.cut!.flip } })}>{w.tools.otherSide}</button>
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
              <button key={mesh.name} class={isShown ? (isGhost ? "glass" : "on") : ""} aria-label={w.partIs(mesh.title, isShown ? (isGhost ? "glass" : "solid") : "none")}
                onClick={() => scene.change({
                  shown: { ...view.shown, [mesh.name]: next !== "none" },
                  ghost: next === "glass" ? [...view.ghost, mesh.name] : view.ghost.filter((n) => n !== mesh.name),
                })}>
                {mesh.title}
              </button>
            );
          })}
          <span class="small">{w.partsHelp}</span>
        </div>
      )}
    </div>
  );
}

/** A part that carries a map stands alone: nothing lies over its colours. */
function colour(scene: Scene, map: MapOn): void {
  const { parts } = scene.view.peek();
  scene.change({ map, head: null, apart: 0, frame: `${map.part} alone`, shown: Object.fromEntries(parts.map((part) => [part.name, part.name === map.part])) });
}

/** One map over one part, in words. */
function Colour({ scene, map, url, title }: { scene: Scene; map: MapChoice; url: string; title: string }) {
  return <button aria-pressed={scene.view.value.map?.url === url} onClick={() => colour(scene, { part: map.part, url, title, unit: map.unit })}>{title}</button>;
}
