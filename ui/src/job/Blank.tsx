import { useRef, useState } from "preact/hooks";
import { Refusal } from "../api/call";
import type { FormField } from "../api/kinds";
import { Refused } from "../parts/Refused";
import { figure, toShown, toStored, unitShown } from "../units";
import { t } from "../words";
import { jobWords as w } from "../words/job";
import { useForm, type SheetAtHand } from "./useSheet";

/** A blank in a sentence: what stands there can be changed in place. Dashed while assumed. */
export function Blank({ hand, field, words }: { hand: SheetAtHand; field: string; words?: string }) {
  const about = useForm()?.[field];
  const [open, setOpen] = useState(false);
  const value = hand.value(field);
  const isSaid = hand.isSaid(field);
  if (!about || !hand.sheet) return <strong>{words ?? "…"}</strong>;
  const shown = words ?? told(value, about.unit ?? "", about.choices);
  if (open) return <Editor hand={hand} field={field} value={value} close={() => setOpen(false)} />;
  return (
    <button
      class={`blank${isSaid ? "" : " assumed"}`}
      aria-label={`${about.what}: ${shown}, ${isSaid ? t.common.given : t.common.assumed}. ${t.common.edit}`}
      title={isSaid ? about.what : `${about.what}: ${t.common.assumed}, ${about.why}`}
      data-field={field}
      onClick={() => setOpen(true)}
    >
      {shown}
    </button>
  );
}

function told(value: unknown, unit: string, choices: FormField["choices"]): string {
  if (value === null || value === undefined) return "…";
  if (choices) return choices.find((c) => c.value === value)?.words ?? String(value);
  if (typeof value === "number") return `${figure(value, unit, 2)}${unit ? `\u202f${unitShown(unit)}` : ""}`;
  if (typeof value === "boolean") return value ? t.common.yes : t.common.no;
  return String(value);
}

function Editor({ hand, field, value, close }: { hand: SheetAtHand; field: string; value: unknown; close: () => void }) {
  const about = useForm()![field]!;
  const unit = about.unit ?? "";
  const numeric = about.kind === "number" || about.kind === "whole";
  const first = numeric && typeof value === "number" ? String(Number(toShown(value, unit).toFixed(3))) : String(value ?? "");
  const [typed, setTyped] = useState(first);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [busy, setBusy] = useState(false);
  const form = useRef<HTMLFormElement>(null);
  const keep = async (next: unknown): Promise<void> => {
    setBusy(true);
    try {
      await hand.change({ [field]: next });
      close();
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error);
      setBusy(false);
    }
  };
  const submit = (event: Event): void => {
    event.preventDefault();
    const bare = typed.trim().replace(",", ".");
    // what is no number goes as it was typed: the refusal names it
    void keep(bare === "" ? null : numeric && Number.isFinite(Number(bare)) ? toStored(Number(bare), unit) : typed);
  };
  const label = `${about.what}${unit ? `, ${unitShown(unit)}` : ""}`;
  const choices = about.kind === "yes_no" ? [{ value: "true", words: t.common.yes }, { value: "false", words: t.common.no }] : about.choices;
  return (
    <form ref={form} class="blank-form" onSubmit={submit} onKeyDown={(e) => e.key === "Escape" && close()}>
      <span class="blank-edit">
        {choices ? (
          <select aria-label={label} value={typed} disabled={busy} autofocus onChange={(e) => void keep(about.kind === "yes_no" ? e.currentTarget.value === "true" : e.currentTarget.value)}>
            {choices.map((c) => <option key={String(c.value)} value={String(c.value)}>{c.words}</option>)}
          </select>
        ) : (
          <>
            <input
              aria-label={label}
              inputMode={numeric ? "decimal" : "text"}
              value={typed}
              disabled={busy}
              ref={focusFirst}
              onInput={(e) => setTyped(e.currentTarget.value)}
            />
            {unit && <span>{unitShown(unit)}</span>}
            <button class="plain" type="submit" disabled={busy}>{t.common.save}</button>
          </>
        )}
        {hand.isSaid(field) && about.default !== undefined && (
          <button class="plain" type="button" disabled={busy} onClick={() => void keep(null)}>{w.asAssumed}</button>
        )}
        <button class="plain" type="button" onClick={close}>{t.common.cancel}</button>
      </span>
      <small class="blank-help">{about.what}; {allowed(about.low, about.high, unit, about.allowed)}</small>
      <Refused refusal={refusal} />
    </form>
  );
}

/** Takes the hand to the field once, when it appears. */
const focusFirst = (at: HTMLInputElement | null): void => {
  if (!at || at.dataset["seen"]) return;
  at.dataset["seen"] = "yes";
  at.focus();
  at.select();
};

/** The range in the units shown; what has none says what is allowed in its own words. */
function allowed(low: number | null, high: number | null, unit: string, words: string): string {
  if (low === null || high === null) return words;
  return w.range(figure(low, unit, 2), figure(high, unit, 2), unitShown(unit));
}
