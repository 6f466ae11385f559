/** A container fetched with its share told as it comes in. */

import { parseBox, type Box } from "./container";

export class NotFetched extends Error {}

export async function fetchBox(
  url: string,
  signal: AbortSignal,
  told: (share: number) => void = () => undefined,
): Promise<Box> {
  const answer = await fetch(url, { signal });
  if (!answer.ok) throw new NotFetched(await sentenceOf(answer));
  const length = Number(answer.headers.get("content-length") ?? 0);
  const coded = answer.headers.get("content-encoding");
  if (!length || coded || !answer.body) return parseBox(await answer.arrayBuffer());
  return parseBox(await filled(answer.body, length, told));
}

async function filled(
  body: ReadableStream<Uint8Array>,
  length: number,
  told: (share: number) => void,
): Promise<ArrayBuffer> {
  const whole = new Uint8Array(length);
  const reader = body.getReader();
  let at = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    whole.set(value, at);
    at += value.length;
    told(at / length);
  }
  return at === length ? whole.buffer : whole.buffer.slice(0, at);
}

async function sentenceOf(answer: Response): Promise<string> {
  const words = (await answer.json().catch(() => null)) as { sentence?: string } | null;
  return words?.sentence ?? `The surface did not arrive (answer ${answer.status}).`;
}
