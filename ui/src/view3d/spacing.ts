/** Places at even distances along a stroke. */

import type { V3 } from "./kinds";

/** Whether the next dab is due: the first at once, then each a part of the radius farther. */
export function isDue(last: V3 | null, at: V3, step: number): boolean {
  return !last || away(last, at) >= step * (1 - 1e-9);
}

/** Points about `step` apart along a line, both ends kept; each step is of the same length. */
export function resampled(line: readonly V3[], step: number): V3[] {
  if (line.length < 2) return [...line];
  const lengths = line.slice(1).map((point, i) => away(line[i]!, point));
  const whole = lengths.reduce((a, b) => a + b, 0);
  const count = Math.max(1, Math.round(whole / step));
  const out: V3[] = [line[0]!];
  let [k, passed] = [0, 0];
  for (let i = 1; i < count; i++) {
    const due = (whole * i) / count;
    while (k < lengths.length - 1 && passed + lengths[k]! < due) passed += lengths[k++]!;
    out.push(between(line[k]!, line[k + 1]!, lengths[k] ? (due - passed) / lengths[k]! : 0));
  }
  out.push(line[line.length - 1]!);
  return out;
}

export function away(a: V3, b: V3): number {
  return Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
}

function between(a: V3, b: V3, share: number): V3 {
  return [0, 1, 2].map((i) => a[i]! + (b[i]! - a[i]!) * share) as V3;
}
