import { at } from "../api/at";
import { useEffect, useRef, useState } from "preact/hooks";
import { call, Refusal } from "../api/call";
import { Leaf } from "../parts/Leaf";
import { Refused } from "../parts/Refused";
import { say } from "../parts/toast";
import { leaf } from "../words/leaves";
import { saidByRow } from "./MaterialFigures";
import { figureName, type Material, named, restsOn, type ShelfFigure, unitWords, value } from "./shelf";
import { forInput, readNumber, storedOf } from "./typed";

type Three = "low" | "typical" | "high";
const THREE: Three[] = ["low", "typical", "high"];
interface Props { material: Material; figure: ShelfFigure; close: () => void; changed: () => void }

/** A form for this shop's own value of a figure. */
export function OwnFigureLeaf({ material, figure, close, changed }: Props) {
  const now = figure.own ?? figure;
  const [typed, setTyped] = useState(() => ({ low: forInput(now.low, figure.unit), typical: forInput(now.typical, figure.unit), high: forInput(now.high, figure.unit) }));
  const [note, setNote] = useState(figure.own?.note ?? "");
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const first = useRef<HTMLInputElement>(null);
  useEffect(() => {
    first.current?.focus();
    first.current?.select();
  }, []);
  const path = at("/api/materials/{material_id}/{figure}", { material_id: material.id, figure: figure.figure });
  const name = figureName(figure.figure);

  const attempt = async (change: () => Promise<unknown>, words: string): Promise<void> => {
    try {
      await change();
    } catch (error) {
      if (!(error instanceof Refusal)) throw error;
      return setRefusal(error);
    }
    changed();
    close();
    say(words);
  };
  const wrong = THREE.find((which) => readNumber(typed[which]) === null);
  const keep = (event: SubmitEvent): void => {
    event.preventDefault();
    if (wrong) return;
    const of = (which: (typeof THREE)[number]): number => storedOf(typed[which], figure.unit, now[which])!;
    void attempt(() => call("PUT", path, { low: of("low"), typical: of("typical"), high: of("high"), note }), leaf.materials.isSet(name));
  };

  return (
    <Leaf title={name} close={close}>
      <p>{named(material)}</p>
      <p class="from-row">{leaf.materials.rowSays(saidByRow(figure))} <span class="small">{[restsOn(figure.mark), figure.source, figure.note].filter(Boolean).join("; ")}</span></p>
      <form class="own-form" onSubmit={keep}>
        <div class="three">
          {THREE.map((which) => (
            <label key={which}>
              {leaf.materials[which]}
              <span class="with-unit">
                <input
                  ref={which === "typical" ? first : undefined} inputMode="decimal" required value={typed[which]} aria-invalid={wrong === which}
                  aria-describedby={`of-${which}`} onInput={(event) => setTyped({ ...typed, [which]: event.currentTarget.value })}
                />
                <span id={`of-${which}`}>{unitWords(figure.unit)}{inWords(typed[which], figure.unit)}<span class="unseen">{which === "low" ? `, ${leaf.materials.lowHelp}` : which === "high" ? `, ${leaf.materials.highHelp}` : ""}</span></span>
              </span>
            </label>
          ))}
        </div>
        {wrong && typed[wrong] !== "" && <p class="refused" role="alert">{leaf.sheet.noNumber(typed[wrong])}</p>}
        <label>
          {leaf.materials.note}
          <textarea rows={3} value={note} aria-describedby="note-help" onInput={(event) => setNote(event.currentTarget.value)} />
        </label>
        <p id="note-help" class="small">{leaf.materials.noteHelp}</p>
        <Refused refusal={refusal} />
        <p class="acts">
          <button class="main">{leaf.materials.use}</button>
          {figure.own && <button type="button" class="plain" onClick={() => void attempt(() => call("DELETE", path), leaf.materials.isBack(name))}>{leaf.materials.back}</button>}
        </p>
      </form>
    </Leaf>
  );
}

/** Long times are given in minutes; hours and days are what one thinks in. */
function inWords(text: string, unit: string): string {
  const read = readNumber(text);
  if (read === null || unit !== "min" || read < 90) return "";
  const long = value(read, unit);
  return ` = ${long.value} ${long.unit}`;
}
