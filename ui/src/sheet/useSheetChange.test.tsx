import { render } from "preact";
import { act } from "preact/test-utils";
import { afterEach, beforeEach, describe, expect, it, vi } from "vitest";
import type { FormField, Sheet } from "../api/kinds";
import { SheetField } from "./SheetField";
import { useSheetChange } from "./useSheetChange";

const FIELD: FormField = {
  name: "skin.thickness_mm", what: "even layer over the body", why: "usual for a half-mask", default: 6, empty: null, unit: "mm", kind: "number",
  low: 3, high: 15, above: null, choices: null, allowed: "3 to 15 mm",
};
const of = (version: number, skin: object): Sheet => ({ version, values: { skin }, text: "", assumed: [], problems: [] });

let kept: Sheet;
let sent: { version: number; fields: Record<string, unknown> }[];
let host: HTMLElement;

/** A server that keeps one sheet and minds its version, as the real one does. */
async function server(_path: string, init: RequestInit): Promise<Response> {
  const json = (body: unknown, status = 200) => new Response(JSON.stringify(body), { status, headers: { "content-type": "application/json" } });
  if (init.method === "GET") return json(kept);
  const asked = JSON.parse(init.body as string) as (typeof sent)[0];
  sent.push(asked);
  if (asked.version !== kept.version) return json({ code: "changed_meanwhile", sentence: "Changed.", theirs: kept }, 409);
  const value = asked.fields["skin.thickness_mm"];
  if (typeof value === "number" && value > 15) return json({ code: "bad_sheet", sentence: "It is 80; it may be 3 to 15 mm.", remedy: "" }, 422);
  kept = of(kept.version + 1, { ...(kept.values.skin as object), thickness_mm: value ?? undefined });
  return json(kept);
}

function Form() {
  const { asked, change } = useSheetChange("j1");
  return asked.data && <SheetField field={FIELD} sheet={asked.data} change={change} />;
}

const settle = (): Promise<void> => act(() => new Promise<void>((done) => setTimeout(done, 10)));
const input = (): HTMLInputElement => host.querySelector("input")!;
const press = (words: string): void => [...host.querySelectorAll("button")].find((one) => one.textContent === words)!.click();

async function type(text: string): Promise<void> {
  input().value = text;
  input().dispatchEvent(new Event("input", { bubbles: true }));
  await settle();
}
async function enter(): Promise<void> {
  input().dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true }));
  await settle();
}

beforeEach(async () => {
  kept = of(1, { thickness_mm: 8 });
  sent = [];
  vi.stubGlobal("fetch", server);
  host = document.body.appendChild(document.createElement("div"));
  render(<Form />, host);
  await settle();
});
afterEach(() => {
  render(null, host);
  host.remove();
  vi.unstubAllGlobals();
});

describe("a field of the sheet", () => {
  it("Enter writes it with the sheet's version, and only that field.", async () => {
    await type("7,5");
    await enter();
    expect(sent).toEqual([{ version: 1, fields: { "skin.thickness_mm": 7.5 } }]);
    expect(input().value).toBe("7.5");
  });
  it("Emptied, it is taken out and stands as assumed.", async () => {
    await type("");
    await enter();
    expect(sent[0]!.fields).toEqual({ "skin.thickness_mm": null });
    expect(host.querySelector(".sheet-field.assumed")).not.toBeNull();
    expect(input().placeholder).toBe("6");
  });
  it("A refusal stands beside it and what was typed stays; leaving does not ask again.", async () => {
    await type("80");
    await enter();
    expect(host.querySelector(".refused")!.textContent).toContain("3 to 15 mm");
    expect(input().value).toBe("80");
    input().dispatchEvent(new FocusEvent("blur"));
    await settle();
    expect(sent).toHaveLength(1);
  });
  it("Text that is no number is not sent.", async () => {
    await type("thick");
    await enter();
    expect(sent).toEqual([]);
    expect(host.querySelector(".refused")!.textContent).toContain("thick");
  });
  it("Changed by somebody else meanwhile: both are shown, and mine can be kept.", async () => {
    await type("7");
    kept = of(2, { thickness_mm: 10 });
    await enter();
    expect(host.querySelector(".told")!.textContent).toContain("10 mm");
    expect(host.querySelector(".told")!.textContent).toContain("7 mm");
    press("Keep mine");
    await settle();
    expect(kept.values).toEqual({ skin: { thickness_mm: 7 } });
    expect(host.querySelector(".told")).toBeNull();
  });
  it("Theirs can be taken, and nothing is written.", async () => {
    await type("7");
    kept = of(2, { thickness_mm: 10 });
    await enter();
    press("Take theirs");
    await settle();
    expect(kept.version).toBe(2);
    expect(input().value).toBe("10");
  });
  it("Where only another field changed there is no conflict: mine is set beside it.", async () => {
    await type("7");
    kept = of(2, { thickness_mm: 8, flange_width_mm: 40 });
    await enter();
    expect(host.querySelector(".told")).toBeNull();
    expect(kept.values).toEqual({ skin: { thickness_mm: 7, flange_width_mm: 40 } });
    expect(sent.map((one) => one.version)).toEqual([1, 2]);
  });
  it("What is typed on while an earlier text is on its way is not lost.", async () => {
    await type("7");
    input().dispatchEvent(new KeyboardEvent("keydown", { key: "Enter", bubbles: true }));
    input().value = "7.5";
    input().dispatchEvent(new Event("input", { bubbles: true }));
    await settle();
    expect(kept.values).toEqual({ skin: { thickness_mm: 7 } });
    expect(input().value).toBe("7.5");
    await enter();
    expect(kept.values).toEqual({ skin: { thickness_mm: 7.5 } });
  });
  it("Taken out by its word, it stands as assumed.", async () => {
    press("Take out");
    await settle();
    expect(sent[0]!.fields).toEqual({ "skin.thickness_mm": null });
    expect(input().value).toBe("");
  });
  it("Escape brings back what was kept.", async () => {
    await type("7");
    input().dispatchEvent(new KeyboardEvent("keydown", { key: "Escape", bubbles: true, cancelable: true }));
    await settle();
    expect(input().value).toBe("8");
    expect(sent).toEqual([]);
  });
});
