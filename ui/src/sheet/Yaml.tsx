import { at } from "../api/at";
import { useState } from "preact/hooks";
import { Refusal } from "../api/call";
import type { Job, Sheet } from "../api/kinds";
import { Refused } from "../parts/Refused";
import { t } from "../words";
import { leaf } from "../words/leaves";

interface Props { job: Job; sheet: Sheet; putText: (text: string, version: number) => Promise<void> }

/** The sheet as a file: saved, or taken from one; a text that is refused stays where it is. */
export function Yaml({ job, sheet, putText }: Props) {
  const [text, setText] = useState<string | null>(null);
  const [began, setBegan] = useState(sheet.version);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [clash, setClash] = useState(false);
  const [taken, setTaken] = useState(false);

  const open = (): void => {
    setTaken(false);
    setBegan(sheet.version);
    setText("");
  };
  const put = async (version: number): Promise<void> => {
    setRefusal(null);
    setClash(false);
    try {
      await putText(text ?? "", version);
      setText(null);
      setTaken(true);
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      if (error.told.code === "changed_meanwhile") setClash(true);
      else setRefusal(error);
    }
  };
  return (
    <section class="yaml" aria-labelledby="sheet-yaml">
      <h3 id="sheet-yaml">{leaf.sheet.yaml}</h3>
      <p class="acts">
        <a class="plain" href={at("/api/jobs/{job_id}/sheet.yaml", { job_id: job.id })} download>{leaf.sheet.save}</a>
        <button class="plain" aria-expanded={text !== null} onClick={() => (text === null ? open() : setText(null))}>{leaf.sheet.take}</button>
      </p>
      <p role="status">{taken && leaf.sheet.isPut}</p>
      {text !== null && (
        <form onSubmit={(event) => { event.preventDefault(); void put(began); }}>
          <label class="button from-file">{leaf.sheet.choose} <input type="file" class="unseen" accept=".yaml,.yml,text/yaml" onChange={(event) => void event.currentTarget.files?.[0]?.text().then(setText)} /></label>
          <label>{leaf.sheet.paste} <textarea rows={10} required spellcheck={false} value={text} onInput={(event) => setText(event.currentTarget.value)} /></label>
          <Refused refusal={refusal} />
          {clash && (
            <div class="told" role="alert">
              <p>{leaf.sheet.changed}</p>
              <button type="button" class="plain" onClick={() => void put(sheet.version)}>{leaf.sheet.putAnyway}</button>
            </div>
          )}
          <p class="acts"><button class="main">{leaf.sheet.put}</button><button type="button" class="plain" onClick={() => setText(null)}>{t.common.cancel}</button></p>
        </form>
      )}
    </section>
  );
}
