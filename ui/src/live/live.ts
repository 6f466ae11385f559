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

/** Of all tabs of this browser one listens and tells the others: it opens only six ways to a server. */
const LISTENS = "firstpull listens";
const tabs = "BroadcastChannel" in globalThis ? new BroadcastChannel(LISTENS) : null;
const EVENTS = ["hello", "job", "run", "figures", "reload"] as const;

type Heard = (typeof EVENTS)[number] | "lost";

export function listen(): void {
  tabs?.addEventListener("message", (event: MessageEvent<{ name: Heard; data: unknown }>) => hear(event.data.name, event.data.data));
  const { locks } = navigator; // only where the address is this machine's or encrypted
  addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    // put aside and shown again, the page has missed what happened meanwhile
    hear("reload", {});
    if (!tabs || !locks) open(hear);
  });
  if (!tabs || !locks) return open(hear);
  const free = { ifAvailable: true };
  void locks.request(LISTENS, free, (lock) => lock && forGood(() => open(tell))).then(() =>
    // another tab listens; once it is closed, this one takes over and asks for what was missed
    locks.request(LISTENS, () => forGood(() => (tell("reload", {}), open(tell)))),
  );
}

function forGood(work: () => void): Promise<never> {
  work();
  return new Promise(() => undefined);
}

function tell(name: Heard, data: unknown): void {
  tabs?.postMessage({ name, data });
  hear(name, data);
}

function open(told: (name: Heard, data: unknown) => void): void {
  const source = new EventSource(at("/api/events"));
  for (const name of EVENTS) {
    source.addEventListener(name, (event) => told(name, JSON.parse((event as MessageEvent<string>).data)));
  }
  addEventListener("pagehide", () => source.close(), { once: true });
  source.onerror = () => {
    told("lost", {});
    if (source.readyState === EventSource.CLOSED) setTimeout(() => open(told), 2000);
  };
}

/** What one event means for this page. */
export function hear(name: Heard, data: unknown): void {
  if (name === "lost") connected.value = false;
  else if (name === "hello") {
    // after a break nothing is certain: everything on the page is asked anew
    if (!connected.value) hear("reload", {});
    connected.value = true;
  } else if (name === "reload") for (const each of listeners.keys()) changed(each);
  else if (name === "figures") changed("figures");
  else if (name === "job") {
    changed(`job:${(data as { id: string }).id}`);
    changed("jobs");
  } else if (name === "run") ran(data as Run);
}

function ran(run: Run): void {
  const before = runs.value[run.id];
  runs.value = { ...runs.value, [run.id]: run };
  if (before?.state !== run.state || before?.what !== run.what) changed(`run:${run.id}`);
  if (before?.state !== run.state) {
    changed(`job:${run.job_id}`);
    changed("jobs");
  }
}

/** A run as last told, by events or by the job it came with. */
export function latest(run: Run | null | undefined): Run | null {
  if (!run) return null;
  return runs.value[run.id] ?? run;
}
