/** Meshes on their way in: one at a time, in the order in which they were let go. */

import { at } from "../api/at";
import { signal } from "@preact/signals";
import { call, Refusal, send, type RefusalShape } from "../api/call";
import type { Job } from "../api/kinds";
import { t } from "../words";
import { bytes } from "./typed";

export interface Upload {
  id: number;
  name: string;
  state: "waiting" | "sending" | "in" | "refused";
  share: number;
  job: Job | null;
  refusal: RefusalShape | null;
}

/** Where sending happens; tests put their own here. */
export interface Carrier {
  send: (path: string, file: Blob, progress: (share: number) => void, stop: AbortSignal) => Promise<Job>;
  limit: () => Promise<number>;
  arrived: (job: Job, alone: boolean) => void;
}

interface Kept extends Upload { file: File; stop: AbortController; alone: boolean }

export const uploads = signal<Upload[]>([]);

const queue: Kept[] = [];
let busy = false;
let count = 0;

/** Takes files into the queue; the first goes off at once. */
export function takeIn(files: File[], carrier: Carrier): void {
  const alone = files.length === 1 && queue.length === 0;
  for (const item of queue) item.alone = false;
  for (const file of files)
    queue.push({ id: ++count, name: file.name, state: "waiting", share: 0, job: null, refusal: null, file, stop: new AbortController(), alone });
  tell();
  void work(carrier);
}

/** Stops one that waits or is being sent, or takes a refused one off the list. */
export function drop(id: number): void {
  const at = queue.findIndex((item) => item.id === id);
  if (at < 0) return;
  queue[at]!.stop.abort();
  queue.splice(at, 1);
  tell();
}

function tell(): void {
  uploads.value = queue.map(({ id, name, state, share, job, refusal }) => ({ id, name, state, share, job, refusal }));
}

async function work(carrier: Carrier): Promise<void> {
  if (busy) return;
  busy = true;
  try {
    for (let next = waiting(); next; next = waiting()) await one(next, carrier);
  } finally {
    busy = false;
  }
}

const waiting = (): Kept | undefined => queue.find((item) => item.state === "waiting");

async function one(item: Kept, carrier: Carrier): Promise<void> {
  item.state = "sending";
  tell();
  try {
    await fits(item.file, carrier);
    const progress = (share: number): void => {
      item.share = share;
      tell();
    };
    item.job = await carrier.send(at("/api/jobs", null, { file: item.name }), item.file, progress, item.stop.signal);
    item.state = "in";
    carrier.arrived(item.job, item.alone);
    // a single one is shown as its job; of several each stands in the list of jobs
    drop(item.id);
  } catch (error) {
    if (item.stop.signal.aborted) return;
    if (!(error instanceof Refusal)) throw error;
    item.state = "refused";
    item.refusal = error.told;
    tell();
  }
}

/** A file that is too large, or a folder, is told before a byte leaves: the answer would not get through. */
async function fits(file: File, carrier: Carrier): Promise<void> {
  try {
    await file.slice(0, 1).arrayBuffer();
  } catch {
    throw told("not_readable", t.drop.folder(file.name));
  }
  if (file.size < 50_000_000) return;
  const limit = await carrier.limit();
  if (file.size > limit) throw told("upload_too_large", t.drop.tooLarge(file.name, bytes(file.size), bytes(limit)));
}

function told(code: string, sentence: string): Refusal {
  return new Refusal({ code, where: "", found: "", limit: "", remedy: "", sentence }, 0);
}

export const toServer: Omit<Carrier, "arrived"> = {
  send: (path, file, progress, stop) => send<Job>(path, file, progress, stop),
  limit: async () => (await call("GET", at("/api/about"))).upload_limit_bytes,
};
