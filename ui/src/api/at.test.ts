import { describe, expect, it } from "vitest";
import { at } from "./at";

describe("at", () => {
  it("Names are filled in and made harmless; a path of a file keeps its folders.", () => {
    expect(at("/api/jobs/{job_id}", { job_id: "a b?c" })).toBe("/api/jobs/a%20b%3Fc");
    expect(at("/api/runs/{run_id}/files/{path}", { run_id: "r1", path: "mask/mould/skin 1.stl" })).toBe("/api/runs/r1/files/mask/mould/skin%201.stl");
  });
  it("A query leaves out what is not said.", () => {
    expect(at("/api/jobs", null, { archived: true, file: undefined })).toBe("/api/jobs?archived=true");
  });
});
