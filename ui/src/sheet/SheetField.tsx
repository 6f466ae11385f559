import { useRef, useState } from "preact/hooks";
import { Refusal, type RefusalShape } from "../api/call";
import type { FormField, Sheet } from "../api/kinds";
import { Refused } from "../parts/Refused";
import { unitShown } from "../units";
import { t } from "../words";
import { leaf } from "../words/leaves";
import type { Change } from "./useSheetChange";
import { allowedWords, assumedOf, asTyped, asWords, isThree, labelOf, readTyped, same, saidOf } from "./values";

interface Typed { text: string; base: unknown }
interface Clash { value: unknown; theirs: Sheet }
interface Props { field: FormField; sheet: Sheet; change: Change }

/** One field: what it is, what it holds, and whether that is assumed or was said. */
export function SheetField({ field, sheet, change }: Props) {
  const [typed, setTyped] = useState<Typed | null>(null);
  const [refusal, setRefusal] = useState<RefusalShape | null>(null);
  const [clash, setClash] = useState<Clash | null>(null);
  const [saving, setSaving] = useState(false);
  const [beside, setBeside] = useState(false);
  const tried = useRef<string | null>(null); // what was refused is not asked again until it changes
  const said = saidOf(sheet, field.name);
  const id = `field-${field.name}`;

  // what was typed on while an earlier text was on its way stays
  const done = (sent?: { text: string; value: unknown }): void => {
    setTyped((now) => (now && sent && now.text !== sent.text ? { text: now.text, base: sent.value } : null));
    setRefusal(null);
    setClash(null);
    tried.current = null;
  };
  const write = async (value: unknown, base: unknown, text = typed?.text): Promise<void> => {
    setSaving(true);
    setBeside(false);
    try {
      const outcome = await change(field.name, value, base);
      if (!outcome.kept && !same(saidOf(outcome.theirs, field.name), value)) return setClash({ value, theirs: outcome.theirs });
      done(text === undefined ? undefined : { text, value: value ?? undefined });
      setBeside(outcome.kept && outcome.beside);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      setRefusal(error.told);
    } finally {
      setSaving(false);
    }
  };
  const commit = (text: string, base: unknown): void => {
    const read = readTyped(text, field, base);
    tried.current = text;
    if ("wrong" in read) return setRefusal({ code: "not_readable", where: "", found: "", limit: "", remedy: "", sentence: read.wrong });
    if (same(read.value, base)) return done();
    setRefusal(null);
    void write(read.value, base, text);
  };
  const control = { id, field, said, assumed: assumedOf(sheet, field), typed, wrong: refusal !== null };
  return (
    <div class={said === undefined ? "sheet-field assumed" : "sheet-field"} data-field={field.name}>
      <label for={id}>{labelOf(field)}</label>
      {field.kind === "choice" || field.kind === "yes_no" ? (
        <Choice {...control} choose={(text) => { setTyped({ text, base: said }); commit(text, said); }} />
      ) : field.kind === "list" && !isThree(field) ? (
        <output id={id} class="list">{said === undefined ? field.empty ?? t.common.none : asWords(said, field)}</output>
      ) : (
        <Text
          {...control}
          type={(text) => { setTyped({ text, base: typed ? typed.base : said }); setClash(null); }}
          leave={() => typed && typed.text !== tried.current && commit(typed.text, typed.base)}
          enter={() => typed && commit(typed.text, typed.base)}
          revert={() => done()}
        />
      )}
      <Help id={`${id}-help`} field={field} said={said} takeOut={() => void write(null, said)} />
      <p class="small" role="status">{saving ? leaf.sheet.saving : beside && leaf.sheet.otherFields}</p>
      <Refused refusal={refusal} />
      {clash && (
        <div class="told" role="alert">
          <p>{leaf.sheet.changed}</p>
          <dl>
            <dt>{leaf.sheet.theirs}</dt><dd><strong>{held(clash.theirs, field)}</strong></dd>
            <dt>{leaf.sheet.yours}</dt><dd><strong>{clash.value === null ? leaf.sheet.assumedIs(asWords(assumedOf(clash.theirs, field), field)) : asWords(clash.value, field)}</strong></dd>
          </dl>
          <p class="acts">
            <button class="plain" onClick={() => void write(clash.value, saidOf(clash.theirs, field.name))}>{leaf.sheet.keepMine}</button>
            <button class="plain" onClick={() => done()}>{leaf.sheet.takeTheirs}</button>
          </p>
        </div>
      )}
    </div>
  );
}

function held(sheet: Sheet, field: FormField): string {
  const said = saidOf(sheet, field.name);
  return said === undefined ? leaf.sheet.assumedIs(asWords(assumedOf(sheet, field), field)) : asWords(said, field);
}

interface Control { id: string; field: FormField; said: unknown; assumed: unknown; typed: Typed | null; wrong: boolean }

function Text({ id, field, said, assumed, typed, wrong, type, leave, enter, revert }: Control & { type: (text: string) => void; leave: () => void; enter: () => void; revert: () => void }) {
  const unit = unitShown(field.unit);
  return (
    <span class="with-unit">
      <input
        id={id} class={field.kind === "number" || field.kind === "whole" ? "number" : "text"} inputMode={field.kind === "number" ? "decimal" : field.kind === "whole" ? "numeric" : undefined}
        value={typed ? typed.text : asTyped(said, field)} placeholder={asTyped(assumed, field) || field.empty || ""} autocomplete="off"
        aria-invalid={wrong} aria-describedby={`${id}-help`}
        onInput={(event) => type(event.currentTarget.value)} onBlur={leave}
        onKeyDown={(event) => {
          if (event.key === "Enter") enter();
          if (event.key !== "Escape" || !typed) return;
          event.preventDefault();
          revert();
        }}
      />
      {unit && <span class="unit">{unit}</span>}
    </span>
  );
}

function Choice({ id, field, said, assumed, typed, wrong, choose }: Control & { choose: (text: string) => void }) {
  const choices = field.kind === "yes_no" ? [{ value: "true", words: leaf.sheet.yes }, { value: "false", words: leaf.sheet.no }] : field.choices ?? [];
  return (
    <select id={id} value={typed ? typed.text : said === undefined ? "" : String(said)} aria-invalid={wrong} aria-describedby={`${id}-help`} onChange={(event) => choose(event.currentTarget.value)}>
      <option value="">{leaf.sheet.assumedIs(asWords(assumed, field))}</option>
      {choices.map((one) => <option key={String(one.value)} value={String(one.value)}>{one.words}</option>)}
    </select>
  );
}

function Help({ id, field, said, takeOut }: { id: string; field: FormField; said: unknown; takeOut: () => void }) {
  const list = field.kind === "list" && !isThree(field);
  return (
    <div class="help" id={id}>
      <p>
        {said === undefined ? <><em>{leaf.sheet.assumed}</em>{`: ${field.why}`}</> : leaf.sheet.said}
        {said !== undefined && <button class="plain" aria-label={leaf.sheet.takeOutOf(labelOf(field))} onClick={takeOut}>{leaf.sheet.takeOut}</button>}
      </p>
      <p>{list ? leaf.sheet.setInView : allowedWords(field)}</p>
    </div>
  );
}
