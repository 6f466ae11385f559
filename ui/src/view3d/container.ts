/** The raw container that meshes and maps travel in: a JSON head, then little-endian arrays. */

export type Numbers = Float32Array | Uint32Array | Int32Array | Uint8Array;

export interface Held {
  array: Numbers;
  shape: number[];
}

export interface Box {
  arrays: Record<string, Held>;
  meta: Record<string, unknown>;
}

export class BadBox extends Error {}

const MAGIC = "FPBOX001";
const HEAD_AT = 12;

type Maker = new (buffer: ArrayBuffer, offset: number, length: number) => Numbers;
const KINDS: Record<string, Maker> = {
  f4: Float32Array,
  u4: Uint32Array,
  i4: Int32Array,
  u1: Uint8Array,
};

interface Entry {
  dtype: string;
  shape: number[];
  offset: number;
}

/** Views into the buffer, without a copy. Throws BadBox where it is cut short or of another kind. */
export function parseBox(buffer: ArrayBuffer): Box {
  const bytes = new Uint8Array(buffer);
  if (bytes.length < HEAD_AT || ascii(bytes.subarray(0, 8)) !== MAGIC) {
    throw new BadBox("This is no container of meshes.");
  }
  const length = new DataView(buffer).getUint32(8, true);
  const start = HEAD_AT + length;
  if (start > bytes.length) throw new BadBox("The container ends within its head.");
  const head = JSON.parse(new TextDecoder().decode(bytes.subarray(HEAD_AT, start))) as {
    arrays: Record<string, Entry>;
    meta?: Record<string, unknown>;
  };
  const arrays: Record<string, Held> = {};
  for (const [name, entry] of Object.entries(head.arrays)) {
    arrays[name] = { array: viewOf(buffer, start, name, entry), shape: entry.shape };
  }
  return { arrays, meta: head.meta ?? {} };
}

/** One array of a box in the kind that is expected. */
export function taken<T extends Numbers>(box: Box, name: string, kind: abstract new (...a: never[]) => T): T {
  const held = box.arrays[name];
  if (!held || !(held.array instanceof kind)) throw new BadBox(`The container holds no "${name}".`);
  return held.array;
}

function viewOf(buffer: ArrayBuffer, start: number, name: string, entry: Entry): Numbers {
  const Kind = KINDS[entry.dtype];
  if (!Kind) throw new BadBox(`The array "${name}" is of an unknown kind.`);
  const count = entry.shape.reduce((a, b) => a * b, 1);
  const size = entry.dtype === "u1" ? 1 : 4;
  const at = start + entry.offset;
  if (at + count * size > buffer.byteLength) throw new BadBox(`The array "${name}" is cut short.`);
  // A head of odd length would leave the data unaligned: only then is it copied.
  if (at % size) return new Kind(buffer.slice(at, at + count * size), 0, count);
  return new Kind(buffer, at, count);
}

function ascii(bytes: Uint8Array): string {
  return String.fromCharCode(...bytes);
}
