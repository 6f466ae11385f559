import { at } from "../api/at";
import { useState } from "preact/hooks";
import { call, Refusal } from "../api/call";
import type { Job, StageName } from "../api/kinds";
import { useAsked } from "../live/ask";
import { today } from "../pages/due";
import { Moment } from "../pages/Moment";
import { forInput, readNumber, storedOf } from "../pages/typed";
import { unitShown } from "../units";
import { t } from "../words";
import { leaf } from "../words/leaves";
import { Leaf } from "./Leaf";
import { Refused } from "./Refused";
import { say } from "./toast";
import "./leaves.css";

interface Measure { name: string; what: string; unit: string }

/** Marks a stage as done: the day, what was measured, a note; or takes that back. */
export function DoneLeaf({ job, stage, close }: { job: Job; stage: StageName; close: () => void }) {
  const asked = useAsked(at("/api/stages"));
  const was = job.done.find((mark) => mark.stage === stage) ?? null;
  const measures = asked.data?.stages.find((one) => one.stage === stage)?.measured;
  return (
    <Leaf title={leaf.done.title(t.stage.names[stage])} close={close}>
      <Refused refusal={asked.refusal} />
      <Moment until={measures ?? asked.refusal} />
      {measures && <DoneForm job={job} stage={stage} measures={measures} was={was} close={close} />}
    </Leaf>
  );
}

interface FormProps { job: Job; stage: StageName; measures: Measure[]; was: Job["done"][number] | null; close: () => void }

function DoneForm({ job, stage, measures, was, close }: FormProps) {
  const [day, setDay] = useState(was?.done_on ?? today());
  const [note, setNote] = useState(was?.note ?? "");
  const [typed, setTyped] = useState<Record<string, string>>(() =>
    Object.fromEntries(measures.map(({ name, unit }) => [name, was?.measured[name] === undefined ? "" : forInput(was.measured[name], unit)])),
  );
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const path = at("/api/jobs/{job_id}/done/{stage}", { job_id: job.id, stage });
  const name = t.stage.names[stage];

  const attempt = async (change: () => Promise<unknown>, words: string): Promise<void> => {
    try {
      await change();
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      return setRefusal(error);
    }
    close();
    say(words);
  };
  const said = measures.filter((one) => typed[one.name]!.trim() !== "");
  const wrong = said.find((one) => readNumber(typed[one.name]!) === null);
  const keep = (event: SubmitEvent): void => {
    event.preventDefault();
    if (wrong) return;
    const measured = Object.fromEntries(said.map((one) => [one.name, storedOf(typed[one.name]!, one.unit, was?.measured[one.name] ?? null)!]));
    void attempt(() => call("PUT", path, { done_on: day, measured, note }), leaf.done.isDone(name));
  };

  return (
    <form class="done-form" onSubmit={keep}>
      <label>{leaf.done.day} <input type="date" value={day} required onInput={(event) => setDay(event.currentTarget.value)} /></label>
      {measures.length > 0 && (
        <fieldset>
          <legend>{leaf.done.measured} <span class="small">{leaf.done.optional}</span></legend>
          {measures.map((one) => (
            <label key={one.name} class="measure">
              <span>{one.what.charAt(0).toUpperCase() + one.what.slice(1)}</span>
              <input inputMode="decimal" value={typed[one.name]!} aria-invalid={wrong === one} onInput={(event) => setTyped({ ...typed, [one.name]: event.currentTarget.value })} />
              <span class="small">{unitShown(one.unit)}</span>
            </label>
          ))}
        </fieldset>
      )}
      {wrong && <p class="refused" role="alert">{leaf.sheet.noNumber(typed[wrong.name]!)}</p>}
      <label>{leaf.done.note} <textarea rows={3} value={note} onInput={(event) => setNote(event.currentTarget.value)} /></label>
      <Refused refusal={refusal} />
      <p class="acts">
        <button class="main">{was ? leaf.done.keep : leaf.done.mark}</button>
        {was && <button type="button" class="away" onClick={() => void attempt(() => call("DELETE", path), leaf.done.notDone(name))}>{leaf.done.unmark}</button>}
      </p>
    </form>
  );
}
