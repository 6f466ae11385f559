/** Parting walls as sheets through the part, with handles to move, turn and tilt them. */

import { BufferAttribute, BufferGeometry, DoubleSide, Group, Mesh, MeshBasicMaterial, Vector3, type Box3 } from "three";
import type { Bed } from "./bed";
import { Handle, alongLine, angleOn, type Held } from "./handle";
import type { V3, View, WallOn } from "./kinds";
import { Strokes } from "./strokes";
import { frameOf, moved, plus, sheetRows, tilted, times, turned } from "./wall_maths";

const MARGIN_MM = 14;
const DEGREE = Math.PI / 180;

export class Walls {
  private readonly group = new Group();
  private readonly sheets = new Map<string, Sheet>();

  constructor(private readonly bed: Bed) {
    bed.stage.scene.add(this.group);
    bed.stage.after.push(() => this.sheets.forEach((sheet) => sheet.lay()));
  }

  set(view: View): void {
    const ids = new Set(view.walls.map((wall) => wall.id));
    for (const [id, sheet] of this.sheets) {
      if (ids.has(id)) continue;
      this.group.remove(sheet.group);
      sheet.dispose();
      this.sheets.delete(id);
    }
    const box = this.bed.parts.laidBox();
    view.walls.forEach((wall, i) => {
      let sheet = this.sheets.get(wall.id);
      if (!sheet) {
        this.sheets.set(wall.id, (sheet = new Sheet(this.bed, i + 1)));
        this.group.add(sheet.group);
      }
      sheet.set(wall, box, view.tool === "walls" && !wall.locked);
    });
  }

  dispose(): void {
    for (const sheet of this.sheets.values()) sheet.dispose();
  }
}

class Sheet {
  readonly group = new Group();
  private wall: WallOn | null = null;
  private box: Box3 | null = null;
  private readonly geometry = new BufferGeometry();
  private readonly stuff = [sheetStuff(0.3, true), sheetStuff(0.1, false)];
  private readonly edge = new Strokes(1.75, 0.3);
  private readonly handles: Handle[];

  constructor(
    private readonly bed: Bed,
    number: number,
  ) {
    for (const material of this.stuff) {
      const mesh = new Mesh(this.geometry, material);
      mesh.renderOrder = material.depthTest ? 41 : 40;
      mesh.frustumCulled = false;
      this.group.add(mesh);
    }
    this.group.add(this.edge.group);
    const { stage } = bed;
    this.handles = [
      new Handle(stage, "shift", `Move wall ${number}`, this.shifting()),
      new Handle(stage, "spin", `Turn wall ${number}`, this.spinning()),
      new Handle(stage, "lean", `Tilt wall ${number}`, this.leaning()),
    ];
  }

  set(wall: WallOn, box: Box3, handled: boolean): void {
    this.wall = wall;
    this.box = box;
    const colour = wall.locked ? this.bed.palette().ink : this.bed.palette().accent;
    for (const material of this.stuff) material.color.copy(colour);
    for (const handle of this.handles) handle.button.style.display = handled ? "" : "none";
    this.shape();
  }

  lay(): void {
    for (const handle of this.handles) handle.lay();
  }

  dispose(): void {
    this.geometry.dispose();
    for (const material of this.stuff) material.dispose();
    this.edge.dispose();
    for (const handle of this.handles) handle.dispose();
  }

  private shape(): void {
    const [wall, box] = [this.wall!, this.box!];
    if (box.isEmpty()) return;
    const middle = box.getCenter(new Vector3()).toArray() as V3;
    const size = box.getSize(new Vector3());
    const { across } = frameOf(wall.facing);
    const half = (size.x * Math.abs(across[0]) + size.y * Math.abs(across[1])) / 2 + MARGIN_MM;
    const rows = sheetRows(wall, middle, half, box.min.z, box.max.z + MARGIN_MM);
    this.fill(rows);
    const low = rows.map(([point]) => point);
    const high = rows.map(([, point]) => point);
    this.edge.set([[...low, ...[...high].reverse(), low[0]!]], this.stuff[0]!.color);
    this.grips(rows);
    this.bed.stage.ask();
  }

  private fill(rows: [V3, V3][]): void {
    const points = new Float32Array(rows.flat(2));
    const faces = rows.slice(1).flatMap((_, i) => [2 * i, 2 * i + 2, 2 * i + 1, 2 * i + 1, 2 * i + 2, 2 * i + 3]);
    this.geometry.setAttribute("position", new BufferAttribute(points, 3));
    this.geometry.setIndex(faces);
  }

  private grips(rows: [V3, V3][]): void {
    const [first, last] = [rows[0]!, rows[rows.length - 1]!];
    const [shift, spin, lean] = this.handles as [Handle, Handle, Handle];
    const between = (a: V3, b: V3, share: number) => new Vector3(...a).lerp(new Vector3(...b), share);
    const k = Math.floor((rows.length - 1) / 2);
    shift.place.copy(between(rows[k]![1], rows[k + 1]![1], rows.length % 2 ? 0 : 0.5));
    spin.place.copy(between(first[0], first[1], 0.5));
    lean.place.set(...last[1]);
  }

  /** The middle of the part within the wall: what it is turned and tilted about. */
  private pivot(): V3 {
    const wall = this.wall!;
    const { facing } = frameOf(wall.facing);
    const middle = this.box!.getCenter(new Vector3());
    const off = new Vector3(...wall.through).sub(middle).dot(new Vector3(...facing));
    return plus(middle.toArray() as V3, times(facing, off));
  }

  private tell(wall: WallOn): void {
    this.wall = wall;
    this.shape();
    this.bed.heard.walled(wall, false);
  }

  private done = (): void => this.bed.heard.walled(this.wall!, true);

  private shifting(): Held {
    return {
      drag: (from) => {
        const start = this.wall!;
        const place = this.handles[0]!.place.clone();
        const way = new Vector3(...frameOf(start.facing).facing);
        const begun = alongLine(from, place, way);
        return (to) => this.tell(moved(start, alongLine(to, place, way) - begun));
      },
      step: (right, up) => {
        // Toward the side of the screen that the arrow shows.
        const seen = this.bed.turning.right().dot(new Vector3(...this.wall!.facing));
        this.tell(moved(this.wall!, right * (seen < 0 ? -1 : 1) + up));
      },
      done: this.done,
    };
  }

  private spinning(): Held {
    return {
      drag: (from) => {
        const start = this.wall!;
        const about = this.pivot();
        const pivot = new Vector3(about[0], about[1], this.handles[1]!.place.z);
        const measure = (ray: typeof from) => angleOn(ray, pivot, new Vector3(1, 0, 0), new Vector3(0, 1, 0));
        const begun = measure(from);
        return (to) => {
          const now = measure(to);
          if (now !== null && begun !== null) this.tell(turned(start, now - begun, about));
        };
      },
      step: (right, up) => this.tell(turned(this.wall!, (right + up) * DEGREE, this.pivot())),
      done: this.done,
    };
  }

  private leaning(): Held {
    return {
      drag: (from) => {
        const start = this.wall!;
        const about = this.pivot();
        const { across } = frameOf(start.facing);
        const level = new Vector3(across[1], -across[0], 0);
        const side = new Vector3(...across);
        const corner = this.handles[2]!.place;
        const along = corner.clone().sub(new Vector3(...about)).dot(side);
        const pivot = new Vector3(...about).addScaledVector(side, along);
        // Angles run as a right-handed turn about across does: from up toward the facing.
        const measure = (ray: typeof from) => angleOn(ray, pivot, new Vector3(0, 0, 1), level);
        const begun = measure(from);
        return (to) => {
          const now = measure(to);
          if (now !== null && begun !== null) this.tell(tilted(start, now - begun, about));
        };
      },
      step: (right, up) => this.tell(tilted(this.wall!, (right + up) * DEGREE, this.pivot())),
      done: this.done,
    };
  }
}

function sheetStuff(opacity: number, depthTest: boolean): MeshBasicMaterial {
  return new MeshBasicMaterial({ transparent: true, opacity, depthTest, depthWrite: false, side: DoubleSide });
}
