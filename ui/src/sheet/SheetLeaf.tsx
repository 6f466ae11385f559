import { at } from "../api/at";
import { useState } from "preact/hooks";
import type { Job } from "../api/kinds";
import { useAsked } from "../live/ask";
import { Moment } from "../pages/Moment";
import { Leaf } from "../parts/Leaf";
import { Refused } from "../parts/Refused";
import { leaf } from "../words/leaves";
import { SheetField } from "./SheetField";
import "./sheet.css";
import { useSheetChange } from "./useSheetChange";
import { findFields } from "./values";
import { Yaml } from "./Yaml";

/** The job sheet as a form: every field of every group, and the sheet as a file. */
export function SheetLeaf({ job, close }: { job: Job; close: () => void }) {
  const form = useAsked(at("/api/sheet/fields"));
  const { asked, change, putText } = useSheetChange(job.id);
  const [wanted, setWanted] = useState("");
  const sheet = asked.data;
  const groups = form.data && findFields(form.data.groups, wanted);
  return (
    <Leaf title={leaf.sheet.title} close={close}>
      <Refused refusal={form.refusal ?? asked.refusal} />
      <Moment until={(groups && sheet) ?? form.refusal ?? asked.refusal} />
      {groups && sheet && (
        <div class="sheet-form">
          <div class="sheet-find">
            <label for="find-field">{leaf.sheet.find}</label>
            <input id="find-field" type="search" value={wanted} autocomplete="off" spellcheck={false} onInput={(event) => setWanted(event.currentTarget.value)} />
          </div>
          <p class="small">{leaf.sheet.lead}</p>
          {groups.length === 0 && <p role="status">{leaf.sheet.nothing(wanted)}</p>}
          {groups.map((group) => (
            <section key={group.name} aria-labelledby={`sheet-${group.name}`}>
              <h3 id={`sheet-${group.name}`}>{leaf.sheet.groups[group.name] ?? group.name}</h3>
              {group.fields.map((field) => <SheetField key={field.name} field={field} sheet={sheet} change={change} />)}
            </section>
          ))}
          <Yaml job={job} sheet={sheet} putText={putText} />
        </div>
      )}
    </Leaf>
  );
}
