/** The search tree of a surface, built in a worker: a pick asks it instead of every face. */

import { type BufferGeometry } from "three";
import { MeshBVH, type SerializedBVH } from "three-mesh-bvh";

interface Answer {
  id: number;
  tree?: SerializedBVH;
  failed?: string;
}

let worker: Worker | null = null;
let next = 0;
const waiting = new Map<number, (answer: Answer) => void>();

export async function treeOf(geometry: BufferGeometry): Promise<MeshBVH> {
  const positions = (geometry.getAttribute("position").array as Float32Array).slice();
  const indices = (geometry.getIndex()!.array as Uint32Array).slice();
  const answer = await asked(positions, indices);
  if (!answer.tree) throw new Error(answer.failed ?? "The surface has no search tree.");
  return MeshBVH.deserialize(answer.tree, geometry, { setIndex: false });
}

function asked(positions: Float32Array, indices: Uint32Array): Promise<Answer> {
  worker ??= started();
  const id = next++;
  return new Promise((done) => {
    waiting.set(id, done);
    worker!.postMessage({ id, positions, indices }, [positions.buffer, indices.buffer]);
  });
}

function started(): Worker {
  const begun = new Worker(new URL("./tree.worker.ts", import.meta.url), { type: "module" });
  begun.onmessage = ({ data }: MessageEvent<Answer>) => {
    waiting.get(data.id)?.(data);
    waiting.delete(data.id);
  };
  begun.onerror = (event) => {
    for (const [id, done] of waiting) done({ id, failed: event.message });
    waiting.clear();
    worker = null;
  };
  return begun;
}
