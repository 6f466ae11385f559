import { describe, expect, it } from "vitest";
import type { StageCard } from "../api/kinds";
import { dayWords, daysUntil, dueIn, groupOf, isFinished, keptUntil, today } from "./due";

const stages = (...states: StageCard["state"][]): StageCard[] =>
  (["master", "mould", "cast"] as const).map((stage, at) => ({ stage, state: states[at] ?? "waiting", words: "" }));

describe("due days", () => {
  it("Days are told as a shop speaks of them.", () => {
    expect(dueIn("2026-12-06", "2026-11-27")).toBe("in 9 days");
    expect(dueIn("2026-11-28", "2026-11-27")).toBe("due tomorrow");
    expect(dueIn("2026-11-27", "2026-11-27")).toBe("due today");
    expect(dueIn("2026-11-26", "2026-11-27")).toBe("1 day late");
    expect(dueIn("2026-11-24", "2026-11-27")).toBe("3 days late");
  });
  it("A change of the clocks takes no day away.", () => {
    expect(daysUntil("2026-11-01", "2026-10-20")).toBe(12);
    expect(daysUntil("2027-04-01", "2027-03-20")).toBe(12);
  });
  it("The year stands only where it is another one.", () => {
    expect(dayWords("2026-12-06", "2026-11-27")).toBe("6 December");
    expect(dayWords("2027-01-06", "2026-11-27")).toBe("6 January 2027");
  });
  it("A job is grouped by its day, and apart once it is done.", () => {
    const on = (due_on: string | null) => groupOf({ due_on, stages: stages("planned") }, "2026-11-27");
    expect(on("2026-11-26")).toBe("late");
    expect(on("2026-11-27")).toBe("soon");
    expect(on("2026-12-04")).toBe("soon");
    expect(on("2026-12-05")).toBe("later");
    expect(on(null)).toBe("open");
    expect(groupOf({ due_on: "2026-11-01", stages: stages("done", "done", "done") }, "2026-11-27")).toBe("finished");
  });
  it("A job is finished when every stage is, and not for want of stages.", () => {
    expect(isFinished({ stages: stages("done", "done", "planned") })).toBe(false);
    expect(isFinished({ stages: [] })).toBe(false);
  });
  it("What was deleted is kept for 30 days.", () => {
    expect(keptUntil("2026-11-01T12:00:00Z")).toBe("2026-12-01");
  });
  it("Today is the day where the page is looked at.", () => {
    const late = new Date(2026, 10, 27, 23, 30);
    expect(today(late)).toBe("2026-11-27");
  });
});
