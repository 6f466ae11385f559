/** The bench: the parts, the tools and the camera put together behind one plain interface. */

import { Plane, Vector3 } from "three";
import { ColourMap } from "./colour_map";
import { Hands, type Point } from "./hands";
import { listen } from "./keys";
import type { Bench, Heard, Look, V3, View } from "./kinds";
import { paletteOf } from "./palette";
import { Parts } from "./parts";
import { firstHit, valueAt, type Hit } from "./pick";
import { Pins } from "./pins";
import { Stage } from "./stage";
import { Turning } from "./turn";
import "./view3d.css";

const NO_GPU = "This browser draws no 3D here. Turn hardware drawing on, or open the page in another browser.";
const GPU_LOST = "The graphics card dropped the view. It comes back by itself in a moment.";

/** A 3D view within the host, which must be positioned and have a size. */
export function makeBench(host: HTMLElement, heard: Heard): Bench {
  let stage: Stage;
  try {
    stage = new Stage(host);
  } catch {
    queueMicrotask(() => heard.failed(NO_GPU));
    return idleBench;
  }
  return new Standing(host, stage, heard);
}

class Standing implements Bench {
  private view: View | null = null;
  private readonly turning: Turning;
  private readonly hands: Hands;
  private readonly parts: Parts;
  private readonly map: ColourMap;
  private readonly pins: Pins;
  private readonly ends = new AbortController();
  private framed = "";
  private said: "loading" | "ready" | "failed" | null = null;

  constructor(
    host: HTMLElement,
    private readonly stage: Stage,
    private readonly heard: Heard,
  ) {
    this.turning = new Turning(stage);
    this.parts = new Parts(stage);
    this.map = new ColourMap(this.parts);
    this.pins = new Pins(stage, () => this.solidPieces());
    this.hands = new Hands(stage, this.turning);
    this.hands.grip = { click: (at) => this.pickAt(at) };
    this.introduce(host);
    this.connect();
  }

  set(view: View): void {
    const before = this.view;
    this.view = view;
    if (before?.dark !== view.dark) this.shade(view.dark);
    this.parts.set(view);
    this.map.set(view.map);
    this.pins.set(view.pins);
    this.arrange();
  }

  flyTo(place: V3, from?: V3): void {
    this.turning.flyToPlace(new Vector3(...place), from ? new Vector3(...from) : null);
  }

  look(from: Look): void {
    this.turning.look(from, this.parts.box(true));
  }

  up(): V3 {
    return this.turning.up();
  }

  picture(width: number, height: number): Promise<Blob> {
    void width;
    void height;
    this.stage.reach();
    this.stage.draw();
    return new Promise((done, failed) =>
      this.stage.canvas.toBlob((blob) => (blob ? done(blob) : failed(new Error("No picture came."))), "image/png"),
    );
  }

  setRange(low: number, high: number): void {
    this.map.setRange(low, high);
  }

  dispose(): void {
    this.ends.abort();
    this.hands.dispose();
    this.map.dispose();
    this.parts.dispose();
    this.stage.dispose();
  }

  private introduce(host: HTMLElement): void {
    const { canvas } = this.stage;
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "application");
    canvas.setAttribute("aria-label", host.dataset.label ?? "3D view");
    this.say("loading");
  }

  private connect(): void {
    const { signal } = this.ends;
    const { canvas } = this.stage;
    listen(canvas, this.turning, { look: (from) => this.look(from), leave: () => this.leave() }, signal);
    this.parts.changed = () => this.arrange();
    this.parts.treed = () => this.stage.ask();
    this.parts.loading = (share) => {
      this.say("loading");
      this.heard.loading(share);
    };
    this.parts.failed = (words) => this.fail(words);
    this.map.failed = (words) => this.heard.failed(words);
    this.map.told = (legend) => this.heard.scale(legend);
    this.map.changed = () => this.arrange();
    this.pins.chosen = (pin) => {
      this.flyTo(pin.place);
      this.heard.pinned(pin.id);
    };
    this.stage.before.push(() => this.light());
    this.stage.after.push(() => this.settle());
    canvas.addEventListener("webglcontextlost", (event) => {
      event.preventDefault();
      this.fail(GPU_LOST);
    }, { signal });
    canvas.addEventListener("webglcontextrestored", () => this.stage.ask(), { signal });
  }

  /** Lays out everything that depends on which parts stand there. */
  private arrange(): void {
    this.map.attach();
    this.parts.dress();
    const box = this.parts.box(true);
    if (!box.isEmpty()) {
      this.stage.around(box);
      this.frameOnce(box);
    }
    this.stage.ask();
  }

  /** The camera frames what is there when other parts come than stood before. */
  private frameOnce(box: ReturnType<Parts["box"]>): void {
    const key = this.parts.shownPieces().length ? "some" : "";
    if (key === this.framed) return;
    this.framed = key;
    this.turning.frame(box);
  }

  private light(): boolean {
    this.parts.shared.upward.value.set(0, 0, 1).transformDirection(this.stage.camera.matrixWorldInverse);
    return false;
  }

  private shade(dark: boolean): void {
    const palette = paletteOf(dark);
    this.stage.renderer.setClearColor(palette.paper, 1);
    const { shared } = this.parts;
    shared.sky.value.copy(palette.sky);
    shared.earth.value.copy(palette.earth);
    shared.noValue.value.copy(palette.none);
    shared.copiedColour.value.copy(palette.accent);
    shared.leftColour.value.copy(palette.ochre);
    this.stage.over.toggleAttribute("data-dark", dark);
    this.stage.canvas.toggleAttribute("data-dark", dark);
  }

  private pickAt(at: Point): void {
    const hit = firstHit(at.ray, this.solidPieces(), this.cutPlane());
    this.heard.picked(hit && { ...this.read(hit), part: hit.piece.part.name, title: hit.piece.part.title });
  }

  private read(hit: Hit): { place: V3; value: number | null; unit: string } {
    const place = hit.place.toArray() as V3;
    const map = hit.onCut ? null : this.map.valuesOf(hit.piece);
    return { place, value: map ? valueAt(hit, map.values) : null, unit: map?.unit ?? "" };
  }

  private cutPlane(): Plane | null {
    return null;
  }

  private solidPieces() {
    return this.parts.shownPieces().filter((piece) => !piece.ghost);
  }

  private leave(): void {
    this.heard.left?.();
  }

  /** After a frame: everything that was asked for has come and is to be seen. */
  private settle(): void {
    const whole = this.view?.parts.every((part) => this.parts.all.has(part.name));
    if (whole && !this.parts.busy && this.said !== "ready") {
      this.say("ready");
      this.heard.ready();
    }
  }

  private fail(words: string): void {
    this.say("failed");
    this.heard.failed(words);
  }

  private say(state: "loading" | "ready" | "failed"): void {
    this.said = state;
    this.stage.state(state);
  }
}

const idleBench: Bench = {
  set: () => undefined,
  flyTo: () => undefined,
  look: () => undefined,
  up: () => [0, 0, 1],
  picture: () => Promise.reject(new Error(NO_GPU)),
  setRange: () => undefined,
  dispose: () => undefined,
};
