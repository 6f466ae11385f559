/** Builds search trees beside the page. In: positions and indices. Out: the tree, for the same. */

import { BufferAttribute, BufferGeometry } from "three";
import { MeshBVH } from "three-mesh-bvh";

interface Question {
  id: number;
  positions: Float32Array;
  indices: Uint32Array;
}

const here = self as unknown as {
  onmessage: (event: MessageEvent<Question>) => void;
  postMessage: (message: unknown, handed?: Transferable[]) => void;
};

here.onmessage = ({ data: { id, positions, indices } }) => {
  try {
    const geometry = new BufferGeometry();
    geometry.setAttribute("position", new BufferAttribute(positions, 3));
    geometry.setIndex(new BufferAttribute(indices, 1));
    // Indirect: the faces keep their order, so that the page's own arrays stay true.
    const tree = MeshBVH.serialize(new MeshBVH(geometry, { indirect: true, targetLeafSize: 8 }), {
      cloneBuffers: false,
    });
    const order = (tree as { indirectBuffer?: { buffer: ArrayBuffer } }).indirectBuffer;
    const handed = [...(tree.roots as ArrayBuffer[]), ...(order ? [order.buffer] : [])];
    here.postMessage({ id, tree: { ...tree, index: null } }, handed);
  } catch (reason) {
    here.postMessage({ id, failed: String(reason) });
  }
};
