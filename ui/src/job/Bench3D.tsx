import { useSignalEffect } from "@preact/signals";
import { useLayoutEffect, useRef } from "preact/hooks";
import { figure, system, unitShown } from "../units";
import { t } from "../words";
import { jobWords as w } from "../words/job";
import type { Scene } from "./scene";

// on its way before the job is known: it is the largest thing that a job's page needs
const arriving = import("../view3d");
arriving.catch(() => undefined); // told on the bench

/** The object on the bench, large; what the eyes and hands do with it stands in words below. */
export function Bench3D({ scene, name }: { scene: Scene; name: string }) {
  const host = useRef<HTMLDivElement>(null);
  useLayoutEffect(() => {
    let gone = false;
    void arriving.then(({ makeBench }) => {
      if (gone || !host.current) return;
      scene.bench.at = makeBench(host.current, {
        ready: () => (scene.state.value = { name: "ready", words: "", share: 1 }),
        loading: (share) => (scene.state.value = { name: "loading", words: t.common.loading, share }),
        failed: (words) => (scene.state.value = { name: "failed", words, share: 0 }),
        picked: (found) => (scene.picked.value = found),
        measured: (found) => (scene.measured.value = found),
        dabbed: (dab, begins) => scene.heard.dabbed?.(dab, begins),
        walled: (wall, done) => scene.heard.walled?.(wall.id, wall.through, wall.facing, done),
        pulled: (part, pull, done) => scene.heard.pulled?.(part, pull, done),
        lined: (points) => scene.heard.lined?.(points),
        pinned: (id) => scene.change({ pins: scene.view.peek().pins.map((pin) => ({ ...pin, active: pin.id === id })) }),
        scale: (legend) => (scene.legend.value = legend),
        compared: (at) => scene.change({ compare: at }),
        left: () => scene.change({ tool: "turn" }),
      });
      scene.bench.at.set(scene.view.value);
    }, () => (scene.state.value = { name: "failed", words: w.noView, share: 0 }));
    return () => {
      gone = true;
      scene.bench.at?.dispose();
      scene.bench.at = null;
    };
  }, []);
  useSignalEffect(() => {
    const view = scene.view.value; // read first: without a bench yet, later changes are still heard
    scene.bench.at?.set(view);
  });
  useSignalEffect(() => {
    const units = system.value === "inch" ? "in" : "mm";
    if (scene.view.peek().units !== units) scene.change({ units });
  });
  const state = scene.state.value;
  return (
    <section class="bench" aria-label={w.bench(name)}>
      <div ref={host} class="bench-host" />
      {state.name !== "ready" && <p class="bench-said" role="status">{state.name === "failed" ? state.words : state.name === "loading" ? t.common.loading : w.noMesh}</p>}
      <Scale scene={scene} />
      <Reading scene={scene} />
    </section>
  );
}

/** The legend of the map that is on, with its real numbers. */
function Scale({ scene }: { scene: Scene }) {
  const legend = scene.legend.value;
  if (!legend) return null;
  const middle = (legend.low + legend.high) / 2;
  const told = (value: number): string => figure(value, legend.unit);
  return (
    <div class="scale" role="img" aria-label={w.legend(legend.title, `${told(legend.low)} ${unitShown(legend.unit)}`, `${told(legend.high)} ${unitShown(legend.unit)}`)}>
      <p>{legend.title}{legend.unit && <span class="small">, {unitShown(legend.unit)}</span>}</p>
      <div class="scale-bar" style={{ background: `linear-gradient(to right, ${legend.stops.join(",")})` }} />
      <div class="scale-ticks"><span>{told(legend.low)}</span><span>{told(middle)}</span><span>{told(legend.high)}</span></div>
    </div>
  );
}

/** What was last touched or measured. */
function Reading({ scene }: { scene: Scene }) {
  const measured = scene.measured.value;
  const picked = scene.picked.value;
  const words = measured
    ? w.measured(`${figure(measured.length_mm, "mm", 1)} ${unitShown("mm")}`)
    : picked
      ? picked.value === null || Number.isNaN(picked.value)
        ? picked.title
        : `${picked.title}: ${figure(picked.value, picked.unit)} ${unitShown(picked.unit)}`
      : "";
  return <p class="reading" role="status">{words}</p>;
}
