import { describe, expect, it } from "vitest";
import { BadBox, parseBox, taken } from "./container";

function boxed(arrays: Record<string, Float32Array | Uint32Array>, meta: object, pad = 0): ArrayBuffer {
  const head: Record<string, unknown> = {};
  let offset = 0;
  for (const [name, array] of Object.entries(arrays)) {
    head[name] = { dtype: array instanceof Float32Array ? "f4" : "u4", shape: [array.length / 3, 3], offset };
    offset += array.byteLength;
  }
  let text = JSON.stringify({ arrays: head, meta });
  while ((12 + text.length) % 4 !== pad) text += " ";
  const out = new Uint8Array(12 + text.length + offset);
  out.set(new TextEncoder().encode("FPBOX001"));
  new DataView(out.buffer).setUint32(8, text.length, true);
  out.set(new TextEncoder().encode(text), 12);
  let at = 12 + text.length;
  for (const array of Object.values(arrays)) {
    out.set(new Uint8Array(array.buffer), at);
    at += array.byteLength;
  }
  return out.buffer;
}

const MESH = { positions: new Float32Array([0, 0, 0, 1, 0, 0, 0, 1.5, 0]), indices: new Uint32Array([0, 1, 2]) };

describe("a raw container", () => {
  it("gives back its arrays and meta without a copy", () => {
    const buffer = boxed(MESH, { title: "Wall" });
    const box = parseBox(buffer);
    const positions = taken(box, "positions", Float32Array);
    expect([...positions]).toEqual([...MESH.positions]);
    expect([...taken(box, "indices", Uint32Array)]).toEqual([0, 1, 2]);
    expect(positions.buffer).toBe(buffer);
    expect(box.meta).toEqual({ title: "Wall" });
    expect(box.arrays.positions!.shape).toEqual([3, 3]);
  });

  it("is read where its data start at an odd place", () => {
    const positions = taken(parseBox(boxed(MESH, {}, 1)), "positions", Float32Array);
    expect([...positions]).toEqual([...MESH.positions]);
  });

  it("is refused when it is something else", () => {
    expect(() => parseBox(new TextEncoder().encode("solid heron, not a box").buffer as ArrayBuffer)).toThrow(BadBox);
  });

  it("is refused when it is cut short, in its head or its data", () => {
    const buffer = boxed(MESH, {});
    expect(() => parseBox(buffer.slice(0, 20))).toThrow("within its head");
    expect(() => parseBox(buffer.slice(0, buffer.byteLength - 4))).toThrow('"indices" is cut short');
  });

  it("is refused when an array is missing or of another kind", () => {
    const box = parseBox(boxed(MESH, {}));
    expect(() => taken(box, "values", Float32Array)).toThrow('no "values"');
    expect(() => taken(box, "indices", Float32Array)).toThrow(BadBox);
  });
});
