/** Days as a shop speaks of them: "in 9 days", "3 days late". */

import type { JobCard } from "../api/kinds";
import { t } from "../words";

export type DueGroup = "late" | "soon" | "later" | "open" | "finished";
export const GROUPS: DueGroup[] = ["late", "soon", "later", "open", "finished"];

const DAY = 86_400_000;

/** The day where this page is looked at, YYYY-MM-DD. */
export function today(now = new Date()): string {
  return new Date(now.getTime() - now.getTimezoneOffset() * 60_000).toISOString().slice(0, 10);
}

/** Whole days from one day to another; below 0 when it has passed. */
export function daysUntil(day: string, from: string): number {
  return Math.round((Date.parse(day) - Date.parse(from)) / DAY);
}

/** A day in words; the year only where it is another one. */
export function dayWords(day: string, from: string = today()): string {
  const year = day.slice(0, 4) === from.slice(0, 4) ? undefined : ("numeric" as const);
  return new Date(`${day.slice(0, 10)}T12:00:00Z`).toLocaleDateString("en-GB", { day: "numeric", month: "long", year, timeZone: "UTC" });
}

/** How far away the day is: "due today", "in 9 days", "3 days late". */
export function dueIn(day: string, from: string): string {
  const days = daysUntil(day, from);
  if (days === 0) return t.due.today;
  if (days === 1) return t.due.tomorrow;
  return days < 0 ? t.due.late(-days) : t.due.in(days);
}

export function isFinished(job: Pick<JobCard, "stages">): boolean {
  return job.stages.length > 0 && job.stages.every((stage) => stage.state === "done");
}

export function groupOf(job: Pick<JobCard, "stages" | "due_on">, from: string): DueGroup {
  if (isFinished(job)) return "finished";
  if (job.due_on === null) return "open";
  const days = daysUntil(job.due_on, from);
  return days < 0 ? "late" : days <= 7 ? "soon" : "later";
}

/** The last day that something deleted at this time is kept. */
export function keptUntil(deletedAt: string): string {
  return today(new Date(Date.parse(deletedAt) + 30 * DAY));
}
