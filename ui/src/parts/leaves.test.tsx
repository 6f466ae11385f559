import { render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, describe, expect, it, vi } from "vitest";
import type { Job } from "../api/kinds";
import { DoneLeaf } from "./DoneLeaf";
import { TakeAway } from "./TakeAway";

const JOB = { id: "j", plan_id: "r", plan_is_current: false, done: [{ stage: "cast", done_on: "2026-11-20", measured: { mass_g: 170.5 }, note: "first three" }] } as unknown as Job;
const STAGES = { stages: [{ stage: "mould", measured: [{ name: "silicone_g", what: "silicone used", unit: "g" }] }, { stage: "cast", measured: [{ name: "mass_g", what: "mass", unit: "g" }, { name: "castings", what: "castings made", unit: "" }] }] };
const FILES = { files: [{ path: "pictures/a b.png", size_bytes: 5 }, { path: "heron/mould/skin.stl", size_bytes: 2_000_000 }, { path: "packet.pdf", size_bytes: 1_000_000 }] };

let asked: [string, string, unknown][];
let host: HTMLElement;
let closed: number;

const settle = (): Promise<void> => act(() => new Promise<void>((done) => setTimeout(done, 10)));

async function server(path: string, init: RequestInit): Promise<Response> {
  if (init.method !== "GET") asked.push([init.method!, path, typeof init.body === "string" ? JSON.parse(init.body) : undefined]);
  const body = path === "/api/stages" ? STAGES : path.endsWith("/files") ? FILES : JOB;
  return new Response(JSON.stringify(body), { headers: { "content-type": "application/json" } });
}
async function press(label: string): Promise<void> {
  [...host.querySelectorAll("button")].find((one) => one.textContent === label)!.click();
  await settle();
}
async function type(at: number, text: string): Promise<void> {
  const input = host.querySelectorAll<HTMLInputElement>(".measure input")[at]!;
  input.value = text;
  input.dispatchEvent(new Event("input", { bubbles: true }));
  await settle();
}

beforeEach(() => {
  [asked, closed] = [[], 0];
  vi.stubGlobal("fetch", server);
  host = document.body.appendChild(document.createElement("div"));
});
afterEach(() => {
  render(null, host);
  host.remove();
  vi.unstubAllGlobals();
});

describe("a stage marked as done", () => {
  it("What was measured before stands there; what is left empty is not sent.", async () => {
    render(<DoneLeaf job={JOB} stage="cast" close={() => closed++} />, host);
    await settle();
    await type(0, "171,2");
    await press("Keep");
    expect(asked).toEqual([["PUT", "/api/jobs/j/done/cast", { done_on: "2026-11-20", measured: { mass_g: 171.2 }, note: "first three" }]]);
    expect(closed).toBe(1);
  });
  it("A measure that is no number is said and nothing is sent.", async () => {
    render(<DoneLeaf job={JOB} stage="mould" close={() => closed++} />, host);
    await settle();
    await type(0, "a lot");
    await press("Mark as done");
    expect(asked).toEqual([]);
    expect(host.querySelector(".refused")!.textContent).toContain("a lot");
  });
  it("The mark can be taken back.", async () => {
    render(<DoneLeaf job={JOB} stage="cast" close={() => closed++} />, host);
    await settle();
    await press("Not done after all");
    expect(asked).toEqual([["DELETE", "/api/jobs/j/done/cast", undefined]]);
  });
});

describe("what is taken away", () => {
  it("The packet comes first, then all together, then each file; an older plan says that it is one.", async () => {
    render(<TakeAway job={JOB} runId="r" close={() => closed++} />, host);
    await settle();
    const links = [...host.querySelectorAll("a")].map((link) => link.getAttribute("href"));
    expect(links).toEqual([
      "/api/runs/r/packet.pdf", "/api/runs/r/all.zip", "/api/runs/r/all.3mf",
      "/api/runs/r/files/packet.pdf", "/api/runs/r/files/heron/mould/skin.stl", "/api/runs/r/files/pictures/a%20b.png",
    ]);
    expect(host.textContent).toContain("3 files, 3.0 MB");
    expect(host.querySelector(".told")).not.toBeNull();
  });
});
