import { expect, it } from "vitest";
import type { Finding } from "../api/kinds";
import { ofMesh } from "./minds";

const finding = (sentence: string, mended: boolean): Finding => ({ sentence, mended, blocks: [], places_mm: [], next_step: "" }) as unknown as Finding;

it("What is open is numbered before what was mended, and keeps its number when both are listed.", () => {
  const minds = ofMesh([finding("a hole", true), finding("a thin wall", false), finding("a turned part", true)]);
  expect(minds.map((mind) => [mind.number, mind.words])).toEqual([[1, "a thin wall"], [2, "a hole"], [3, "a turned part"]]);
  expect(minds.filter((mind) => mind.weight === "note").map((mind) => mind.number)).toEqual([2, 3]);
});
