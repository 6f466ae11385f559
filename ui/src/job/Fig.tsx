import { signal } from "@preact/signals";
import { figure, unitShown } from "../units";
import { t } from "../words";
import { jobWords as w } from "../words/job";

/** The number whose "why?" lies open; null where none does. */
export const asked = signal<{ run: string; path: string } | null>(null);

/** Paths of the numbers that rest on figures of the shop's own. */
export const restingOnOwn = signal<Set<string>>(new Set());

interface Props {
  run: string;
  /** Where it stands in plan.json, such as "parts.0.cast.pull_mass_g". */
  path: string;
  value: number | null | undefined;
  unit: string;
  what: string;
  digits?: number;
  /** Tenth and ninetieth of a hundred. */
  spread?: { p10: number; p90: number } | undefined;
  /** Where a ready text is shown in place of value and unit. */
  words?: string;
}

/** A figure that answers "why?". */
export function Fig({ run, path, value, unit, what, digits, spread, words }: Props) {
  if (value === null || value === undefined) return null;
  return (
    <button class="fig" data-path={path} aria-haspopup="dialog" onClick={() => (asked.value = { run, path })}>
      <span class="unseen">{t.why.why} </span>
      <span class="value">
        {words ?? figure(value, unit, digits)}
        {!words && unit && <span class="unit">{unitShown(unit)}</span>}
      </span>
      <span class="what">{what}</span>
      {isOwn(path) && <span class="own-flag">{w.own}</span>}
      {spread && spread.p90 > spread.p10 && <span class="spread">{figure(spread.p10, unit, digits)}–{figure(spread.p90, unit, digits)} {w.eightOfTen}</span>}
    </button>
  );
}

/** A number within a sentence that answers "why?". */
export function Ask({ run, path, what, children }: { run: string; path: string; what: string; children: string }) {
  return (
    <button class="weigh" data-path={path} aria-haspopup="dialog" onClick={() => (asked.value = { run, path })}>
      <span class="unseen">{t.why.why} </span>{children}<span class="unseen">, {what}</span>{isOwn(path) && <span class="own-flag"> {w.own}</span>}
    </button>
  );
}

/** Whether a number rests on an own figure: itself, or the parts that an estimate consists of. */
function isOwn(path: string): boolean {
  const own = restingOnOwn.value;
  return own.has(path) || own.has(`${path}.p50`);
}
