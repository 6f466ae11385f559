/** What the server tells by itself: a job changed, a plan moved on. All open pages stay in step. */

import { at } from "../api/at";
import { signal } from "@preact/signals";
import type { Run } from "../api/kinds";

export const connected = signal(true);

/** Newest word on each run, by its id. */
export const runs = signal<Record<string, Run>>({});

type Listener = () => void;
const listeners = new Map<string, Set<Listener>>();

/** Calls back when something with this name changed: "job:ID", "jobs", "figures". */
export function onChange(name: string, listener: Listener): () => void {
  const known = listeners.get(name) ?? new Set();
  listeners.set(name, known.add(listener));
  return () => known.delete(listener);
}

function changed(name: string): void {
  for (const listener of [...(listeners.get(name) ?? [])]) listener();
}

let source: EventSource | null = null;

export function listen(): void {
  if (source) return;
  source = new EventSource(at("/api/events"));
  source.addEventListener("hello", () => {
    // after a break nothing is certain: everything on the page is asked anew
    if (!connected.value) for (const name of listeners.keys()) changed(name);
    connected.value = true;
  });
  source.addEventListener("job", (event) => {
    const told = JSON.parse((event as MessageEvent<string>).data) as { id: string };
    changed(`job:${told.id}`);
    changed("jobs");
  });
  source.addEventListener("run", (event) => {
    const run = JSON.parse((event as MessageEvent<string>).data) as Run;
    const before = runs.value[run.id];
    runs.value = { ...runs.value, [run.id]: run };
    if (before?.state !== run.state || before?.what !== run.what) changed(`run:${run.id}`);
    if (before?.state !== run.state) {
      changed(`job:${run.job_id}`);
      changed("jobs");
    }
  });
  source.addEventListener("figures", () => changed("figures"));
  source.addEventListener("reload", () => {
    for (const name of listeners.keys()) changed(name);
  });
  source.onerror = () => {
    connected.value = false;
    if (source?.readyState === EventSource.CLOSED) {
      source = null;
      setTimeout(listen, 2000);
    }
  };
}

/** A run as last told, by events or by the job it came with. */
export function latest(run: Run | null | undefined): Run | null {
  if (!run) return null;
  return runs.value[run.id] ?? run;
}
