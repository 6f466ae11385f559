import { render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, describe, expect, it, vi } from "vitest";
import { setSystem } from "../units";
import { OwnFigureLeaf } from "./OwnFigureLeaf";
import type { Material, ShelfFigure } from "./shelf";

const ROW: ShelfFigure = { figure: "density", unit: "g/cm3", low: 1.07, typical: 1.1, high: 1.2, mark: "from memory", source: "data sheets of this class", note: "", own: null };
const OF: Material = { id: "silicone-tin-30a", name: "tin-cure silicone", kind: "silicone", figures: [ROW] };

let sent: [string, string, unknown][];
let host: HTMLElement;
let closed: number;
let changed: number;

const settle = (): Promise<void> => act(() => new Promise<void>((done) => setTimeout(done, 10)));

async function server(path: string, init: RequestInit): Promise<Response> {
  const body = typeof init.body === "string" ? (JSON.parse(init.body) as { note: string }) : undefined;
  sent.push([init.method!, path, body]);
  const refused = body?.note === "";
  const told = refused ? { code: "bad_own_figure", sentence: "It is set without a note.", remedy: "" } : OF;
  return new Response(JSON.stringify(told), { status: refused ? 422 : 200, headers: { "content-type": "application/json" } });
}
async function show(figure: ShelfFigure): Promise<void> {
  render(<OwnFigureLeaf material={OF} figure={figure} close={() => closed++} changed={() => changed++} />, host);
  await settle();
}
async function fill(at: number, text: string): Promise<void> {
  const input = host.querySelectorAll<HTMLInputElement | HTMLTextAreaElement>("input, textarea")[at]!;
  input.value = text;
  input.dispatchEvent(new Event("input", { bubbles: true }));
  await settle();
}
async function press(label: string): Promise<void> {
  [...host.querySelectorAll("button")].find((one) => one.textContent === label)!.click();
  await settle();
}

beforeEach(() => {
  [sent, closed, changed] = [[], 0, 0];
  vi.stubGlobal("fetch", server);
  host = document.body.appendChild(document.createElement("div"));
});
afterEach(() => {
  render(null, host);
  host.remove();
  setSystem("metric");
  vi.unstubAllGlobals();
});

describe("this shop's own figure", () => {
  it("The three values go with the note, and the page is asked anew.", async () => {
    await show(ROW);
    await fill(1, "1,12");
    await fill(3, "ten cups weighed");
    await press("Use this figure");
    expect(sent).toEqual([["PUT", "/api/materials/silicone-tin-30a/density", { low: 1.07, typical: 1.12, high: 1.2, note: "ten cups weighed" }]]);
    expect([changed, closed]).toEqual([1, 1]);
  });
  it("In ounces, what was not touched goes back to the digit.", async () => {
    setSystem("inch");
    await show(ROW);
    await fill(3, "ten cups weighed");
    await press("Use this figure");
    expect(sent[0]![2]).toEqual({ low: 1.07, typical: 1.1, high: 1.2, note: "ten cups weighed" });
  });
  it("A refusal is shown and the form stays as it was filled in.", async () => {
    await show(ROW);
    await fill(0, "1.05");
    await press("Use this figure");
    expect(host.querySelector(".refused")!.textContent).toContain("without a note");
    expect(host.querySelector("input")!.value).toBe("1.05");
    expect(closed).toBe(0);
  });
  it("An own figure goes back to the row's, which stands beside it.", async () => {
    await show({ ...ROW, own: { low: 1.1, typical: 1.12, high: 1.14, note: "ten cups", changed_at: "" } });
    expect(host.querySelector(".from-row")!.textContent).toContain("1.1 g/cm³ (1.07 to 1.2 g/cm³)");
    await press("Back to the row's");
    expect(sent).toEqual([["DELETE", "/api/materials/silicone-tin-30a/density", undefined]]);
  });
});
