/** The bench: the parts, the tools and the camera put together behind one plain interface. */

import { Box3, Vector3 } from "three";
import { Apart } from "./apart";
import type { Bed } from "./bed";
import { Brush } from "./brush";
import { ColourMap } from "./colour_map";
import { Compare } from "./compare";
import { Cutting } from "./cut";
import { Ground } from "./ground";
import { Hands, type Grip, type Point } from "./hands";
import { Head } from "./head";
import { listen } from "./keys";
import type { Bench, Heard, Look, V3, View } from "./kinds";
import { Line } from "./line";
import { Locks } from "./locks";
import { Measure } from "./measure";
import { paletteOf, type Palette } from "./palette";
import { Parts, type Piece } from "./parts";
import { firstHit, valueAt, type Hit } from "./pick";
import { pictured } from "./picture";
import { Pins } from "./pins";
import { Pulls } from "./pulls";
import { Reading } from "./reading";
import { Stage, type State } from "./stage";
import { Turning, isAboutSame } from "./turn";
import { Walls } from "./walls";
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

class Standing implements Bench, Bed {
  readonly turning: Turning;
  readonly parts: Parts;
  private now: View | null = null;
  private readonly hands: Hands;
  private readonly map: ColourMap;
  private readonly pins: Pins;
  private readonly cutting: Cutting;
  private readonly apart: Apart;
  private readonly ground: Ground;
  private readonly head: Head;
  private readonly measure: Measure;
  private readonly brush: Brush;
  private readonly line: Line;
  private readonly locks: Locks;
  private readonly walls: Walls;
  private readonly pulls: Pulls;
  private readonly compare: Compare;
  private readonly reading: Reading;
  private readonly ends = new AbortController();
  private framed = "";
  private settled = "";
  /** What the camera's view fits, and the addresses of the parts that it was last held against. */
  private fitted = { box: new Box3(), urls: "" };
  private said: State | null = null;

  constructor(
    host: HTMLElement,
    readonly stage: Stage,
    readonly heard: Heard,
  ) {
    this.turning = new Turning(stage);
    this.parts = new Parts(stage);
    this.apart = new Apart(this);
    this.map = new ColourMap(this.parts);
    this.cutting = new Cutting(this);
    this.ground = new Ground(this);
    this.head = new Head(this);
    this.measure = new Measure(this);
    this.brush = new Brush(this);
    this.line = new Line(this);
    this.locks = new Locks(this);
    this.walls = new Walls(this);
    this.pulls = new Pulls(this);
    this.pins = new Pins(stage, () => this.solidPieces());
    this.compare = new Compare(this);
    this.reading = new Reading(this, this.map);
    this.hands = new Hands(stage, this.turning);
    this.introduce(host);
    this.connect();
  }

  set(view: View): void {
    const before = this.now;
    this.now = view;
    if (before?.dark !== view.dark) this.shade(view.dark);
    this.parts.set(view);
    this.map.set(view.map);
    this.head.set(view.head);
    this.compare.set(view.compare);
    this.apart.set(view.apart);
    this.pins.set(view.pins);
    this.hold(view, before);
    this.arrange();
  }

  view(): View {
    return this.now ?? NOTHING;
  }

  palette(): Palette {
    return paletteOf(this.view().dark);
  }

  hitAt(at: Point, pieces = this.solidPieces(at.x)): Hit | null {
    return firstHit(at.ray, pieces, this.cutting.plane);
  }

  flyTo(place: V3, from?: V3): void {
    this.turning.flyToPlace(new Vector3(...place), from ? new Vector3(...from) : null);
  }

  look(from: Look): void {
    const points = this.points();
    if (points.length) this.turning.look(from, points);
  }

  toward(): V3 {
    return this.turning.toEye().toArray() as V3;
  }

  picture(width: number, height: number): Promise<Blob> {
    return pictured(this, this.pins, this.measure, width, height);
  }

  setRange(low: number, high: number): void {
    this.map.setRange(low, high);
  }

  dispose(): void {
    this.ends.abort();
    const kept = [this.hands, this.map, this.cutting, this.ground, this.head, this.measure, this.brush, this.line];
    for (const each of [...kept, this.locks, this.walls, this.pulls, this.parts, this.stage]) each.dispose();
  }

  private introduce(host: HTMLElement): void {
    const { canvas } = this.stage;
    canvas.tabIndex = 0;
    canvas.setAttribute("role", "application");
    canvas.setAttribute("aria-label", host.dataset.label ?? "3D view");
    this.shade(false);
    this.say("loading");
  }

  private connect(): void {
    const { signal } = this.ends;
    const { canvas } = this.stage;
    listen(canvas, this.turning, { look: (from) => this.look(from), leave: () => this.heard.left?.() }, signal);
    this.parts.changed = () => {
      this.apart.settle();
      this.arrange();
    };
    this.parts.treed = () => this.arrange();
    this.parts.settled = () => this.stage.ask();
    this.parts.loading = (share) => {
      this.say("loading");
      this.heard.loading(share);
    };
    this.parts.failed = (words) => this.fail(words);
    this.map.failed = (words) => this.heard.failed(words);
    this.map.told = (legend) => this.heard.scale(legend);
    this.map.changed = this.head.changed = () => this.arrange();
    this.apart.moved = (before) => {
      if (this.framed && this.complete()) {
        this.turning.follow(before, this.parts.box(true));
        this.fitted.box = this.whole();
      }
      this.reach();
    };
    this.pins.chosen = (pin) => {
      this.flyTo(pin.place);
      this.heard.pinned(pin.id);
    };
    this.stage.before.push(() => this.light());
    this.stage.after.push(() => this.settle());
    const lost = (event: Event) => {
      event.preventDefault();
      this.fail(GPU_LOST);
    };
    canvas.addEventListener("webglcontextlost", lost, { signal });
    canvas.addEventListener("webglcontextrestored", () => this.arrange(), { signal });
  }

  /** The tool that the pointer works with. */
  private hold(view: View, before: View | null): void {
    const turn: Grip = { click: (at) => this.pickAt(at), hover: (at) => this.reading.hover(at) };
    const grips = { turn, walls: turn, measure: this.measure.grip, brush: this.brush.grip, line: this.line.grip };
    this.hands.grip = grips[view.tool];
    this.reading.set(view, before);
    if (view.tool !== before?.tool) {
      this.stage.canvas.style.cursor = "";
      this.stage.canvas.dataset.tool = view.tool;
    }
    this.measure.set(view, before);
  }

  /** Lays out everything that depends on which parts stand there. */
  private arrange(): void {
    const view = this.view();
    this.map.attach();
    this.brush.set(view);
    this.reach();
    this.line.set(view);
    this.locks.set(view);
    this.walls.set(view);
    this.pulls.set(view);
    this.frameOnce();
    this.stage.ask();
  }

  /** What depends on where the parts lie, which changes while they are drawn apart. */
  private reach(): void {
    const view = this.view();
    this.cutting.set(view.cut);
    this.parts.dress();
    this.pulls.moved();
    const laid = this.parts.box();
    const head = this.head.lay(this.parts.box(true));
    const floor = head ? laid.clone().union(head) : laid;
    this.ground.group.visible = !laid.isEmpty();
    if (laid.isEmpty()) return;
    const across = this.ground.set(floor, view.units);
    const seen = this.whole();
    const middle = floor.getCenter(new Vector3());
    seen.expandByPoint(new Vector3(middle.x - across, middle.y - across, floor.min.z - 1));
    seen.expandByPoint(new Vector3(middle.x + across, middle.y + across, floor.max.z));
    this.stage.around(seen);
  }

  /** All that is shown, the headform too, as it lies now. */
  private whole(): Box3 {
    const box = this.parts.box(true);
    const head = this.head.lay(box.clone());
    return head ? box.union(head) : box;
  }

  /** The camera frames what is there when the first parts, other ones or a headform have come. */
  private frameOnce(): void {
    const key = `${this.scene()} ${this.parts.shownPieces().map((piece) => piece.part.url)} ${this.head.coming}`;
    const points = this.points();
    if (!points.length) return;
    const known = this.scene() === this.settled;
    if (known ? this.fitsStill() : key === this.framed) return;
    this.framed = key;
    this.fitted = { box: this.whole(), urls: this.urls() };
    this.turning.frame(points);
  }

  /** Newer parts of the same scene leave the camera alone, unless all of them fill another space. */
  private fitsStill(): boolean {
    if (!this.complete() || this.fitted.urls === this.urls()) return true;
    this.fitted.urls = this.urls();
    return isAboutSame(this.fitted.box, this.whole());
  }

  private urls(): string {
    return `${this.view().parts.map((part) => part.url)}`;
  }

  /** What the camera frames; while it stays the same, parts come and go without moving it. */
  private scene(): string {
    const { frame, parts, head } = this.view();
    return `${frame ?? parts.map((part) => part.url).sort()} ${head?.url ?? ""}`;
  }

  private points(): Vector3[] {
    const points = [...this.parts.shownPieces().flatMap((piece) => piece.sample()), ...this.head.sample()];
    // Walls and pulls stand out beyond the parts.
    if (this.view().tool !== "walls" || !points.length) return points;
    const box = this.whole();
    box.expandByScalar(box.getSize(new Vector3()).length() * 0.14);
    return [...points, box.min, box.max];
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
    const hit = this.hitAt(at);
    const map = hit && !hit.onCut ? this.map.valuesOf(hit.piece) : null;
    this.heard.picked(
      hit && {
        part: hit.piece.part.name,
        title: hit.piece.part.title,
        place: hit.place.toArray() as V3,
        value: map ? valueAt(hit, map.values) : null,
        unit: map?.unit ?? "",
      },
    );
  }

  private solidPieces(x?: number): Piece[] {
    if (this.compare.on && x !== undefined) return this.compare.piecesAt(x);
    return this.parts.shownPieces().filter((piece) => !piece.ghost);
  }

  /** After a frame: everything that was asked for has come and is to be seen. */
  private settle(): void {
    if (!this.complete() || this.parts.busy) return;
    this.settled = this.scene();
    if (this.said !== "ready") {
      this.say("ready");
      this.heard.ready();
    }
  }

  /** Whether everything that is to be seen is there. */
  private complete(): boolean {
    const wanted = this.view().parts.filter((part) => this.view().shown[part.name] ?? true);
    return wanted.length > 0 && wanted.every((part) => this.parts.all.has(part.name)) && !this.head.coming;
  }

  private fail(words: string): void {
    this.say("failed");
    this.heard.failed(words);
  }

  private say(state: State): void {
    this.said = state;
    this.stage.state(state);
  }
}

const NOTHING: View = {
  parts: [],
  shown: {},
  ghost: [],
  apart: 0,
  cut: null,
  map: null,
  pins: [],
  compare: null,
  tool: "turn",
  brush: { radius_mm: 8, copied: true },
  dabs: [],
  border: [],
  walls: [],
  locks: [],
  stretches: [],
  line: null,
  head: null,
  units: "mm",
  dark: false,
};

const idleBench: Bench = {
  set: () => undefined,
  flyTo: () => undefined,
  look: () => undefined,
  toward: () => [0, 0, 1],
  picture: () => Promise.reject(new Error(NO_GPU)),
  setRange: () => undefined,
  dispose: () => undefined,
};
