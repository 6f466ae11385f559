import { render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, describe, expect, it, vi } from "vitest";
import type { JobCard } from "../api/kinds";
import { go } from "../router";
import { today } from "./due";
import { JobsPage } from "./JobsPage";

const card = (id: string, some: Partial<JobCard> = {}): JobCard => ({
  id, name: `Mask ${id}`, due_on: null, version: 3, made_at: "", changed_at: "", archived_at: null, deleted_at: null, castings: 6, picture: null, file_name: null, revision_count: 1,
  stages: [{ stage: "master", state: "done", words: "" }, { stage: "mould", state: "attention", words: "" }, { stage: "cast", state: "planned", words: "" }],
  next: { words: "Make the mould", stage: "mould" }, run: null, plan_id: null, plan_is_current: true, ...some,
});

let jobs: JobCard[];
let asked: [string, string, unknown][];
let host: HTMLElement;

async function server(path: string, init: RequestInit): Promise<Response> {
  const json = (body: unknown, status = 200) => new Response(JSON.stringify(body), { status, headers: { "content-type": "application/json" } });
  const body: unknown = typeof init.body === "string" ? JSON.parse(init.body) : undefined;
  if (init.method !== "GET") asked.push([init.method!, path, body]);
  if (path === "/api/jobs/demo") return json(card("demo"), 201);
  if (path === "/api/jobs") return json({ jobs });
  if ((body as { name?: string } | undefined)?.name === "bad") return json({ code: "bad_name", sentence: "That name is taken.", remedy: "" }, 422);
  return json(jobs[0]);
}

const settle = (): Promise<void> => act(() => new Promise<void>((done) => setTimeout(done, 10)));
const words = (): string[] => [...host.querySelectorAll("li:not([hidden]) h3")].map((one) => one.textContent!);
async function press(label: string): Promise<void> {
  [...document.querySelectorAll("button")].find((one) => one.textContent === label)!.click();
  await settle();
}
async function show(some: JobCard[]): Promise<void> {
  jobs = some;
  render(<JobsPage />, host);
  await settle();
}

beforeEach(() => {
  asked = [];
  vi.stubGlobal("fetch", server);
  host = document.body.appendChild(document.createElement("div"));
  go("/");
});
afterEach(() => {
  render(null, host);
  host.remove();
  vi.unstubAllGlobals();
});

describe("the list of jobs", () => {
  it("With no job it offers the demo, and goes to it.", async () => {
    await show([]);
    await press("Try it on the heron half-mask");
    expect(asked).toEqual([["POST", "/api/jobs/demo", undefined]]);
    expect(location.pathname).toBe("/jobs/demo");
  });
  it("Each stage says its state in words, and the next thing leads into its stage.", async () => {
    await show([card("a")]);
    expect([...host.querySelectorAll(".stage-marks li")].map((one) => one.textContent)).toEqual(["Masterdone", "Mouldlook here", "Castplanned"]);
    expect(host.querySelector<HTMLAnchorElement>(".next a")!.getAttribute("href")).toBe("/jobs/a/mould");
  });
  it("A plan that runs shows how far it is.", async () => {
    await show([card("a", { run: { id: "r", job_id: "a", state: "working", share: 0.42, what: "proving" } as JobCard["run"] })]);
    expect(host.querySelector("[role=progressbar]")!.getAttribute("aria-valuenow")).toBe("42");
  });
  it("Late jobs come first, those without a day after those with one.", async () => {
    await show([card("open"), card("later", { due_on: "2999-01-01" }), card("late", { due_on: "2001-01-01" }), card("soon", { due_on: today() })]);
    expect(words()).toEqual(["Mask late", "Mask soon", "Mask later", "Mask open"]);
  });
  it("Seven jobs are read through; from eight on a name is looked for.", async () => {
    await show(["1", "2", "3", "4", "5", "6", "7"].map((id) => card(id)));
    expect(host.querySelector("#find-job")).toBeNull();
    render(null, host);
    await show(["1", "2", "3", "4", "5", "6", "7", "88"].map((id) => card(id)));
    const find = host.querySelector<HTMLInputElement>("#find-job")!;
    find.value = "mask 8";
    find.dispatchEvent(new Event("input", { bubbles: true }));
    await settle();
    expect(words()).toEqual(["Mask 88"]);
    expect(host.querySelector(".find [role=status]")!.textContent).toBe("1 of 8 jobs");
  });
  it("A new name goes with the job's version; what is refused is shown and stays typed.", async () => {
    await show([card("a")]);
    await press("More");
    await press("Rename");
    const name = host.querySelector<HTMLInputElement>("input.name")!;
    name.value = "bad";
    await press("Keep");
    expect(asked).toEqual([["PATCH", "/api/jobs/a", { version: 3, name: "bad" }]]);
    expect(host.querySelector(".refused")!.textContent).toContain("That name is taken.");
    expect(host.querySelector<HTMLInputElement>("input.name")!.value).toBe("bad");
  });
});
