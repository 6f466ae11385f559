import { at } from "../api/at";
import type { WhyTold } from "../api/kinds";
import { useAsked } from "../live/ask";
import { Leaf } from "../parts/Leaf";
import { Refused } from "../parts/Refused";
import { figure, inUnits, unitShown } from "../units";
import { t } from "../words";
import { asked } from "./Fig";

/** Formula, inputs, rows with source and mark, and spread of one figure. */
export function WhyLeaf() {
  const of = asked.value;
  const told = useAsked(of && at("/api/runs/{run_id}/why", { run_id: of.run }, { path: of.path }));
  if (!of) return null;
  const why = told.data;
  return (
    <Leaf title={t.why.title} close={() => (asked.value = null)}>
      <Refused refusal={told.refusal} />
      {why && (
        <>
          <div class="fig">
            <span class="value">
              {typeof why.value === "number" ? figure(why.value, why.unit) : String(why.value ?? "–")}
              <span class="unit">{unitShown(why.unit)}</span>
            </span>
            <span class="what">{why.what}</span>
          </div>
          <h3 class="above">{t.why.formula}</h3>
          <p class="formula">{inUnits(why.formula)}</p>
          {why.inputs.length > 0 && <Inputs inputs={why.inputs} />}
          <p>{why.spread ? t.why.spread(...spreadWords(why)) : t.why.none}</p>
          {why.rows.length > 0 && <h3 class="above">{t.why.rows}</h3>}
          {why.rows.map((row) => <Row key={row.row} row={row} />)}
        </>
      )}
    </Leaf>
  );
}

function spreadWords(why: WhyTold): [string, string, string] {
  const told = (value: number): string => `${figure(value, why.unit)} ${unitShown(why.unit)}`;
  return [told(why.spread!.p10), told(why.spread!.p50), told(why.spread!.p90)];
}

function Inputs({ inputs }: { inputs: WhyTold["inputs"] }) {
  return (
    <>
      <h3 class="above">{t.why.inputs}</h3>
      <dl>
        {inputs.map((input) => (
          <>
            <dt>{input.what}</dt>
            <dd>{typeof input.value === "number" ? `${figure(input.value, input.unit)} ${unitShown(input.unit)}` : String(input.value)}</dd>
          </>
        ))}
      </dl>
    </>
  );
}

function Row({ row }: { row: WhyTold["rows"][number] }) {
  const [material] = row.row.split(":");
  const told = (value: number | null): string => (value === null ? "–" : figure(value, row.unit));
  const same = row.low === row.high;
  return (
    <div class="row">
      <p>
        <strong>{told(row.typical)} {unitShown(row.unit)}</strong>, {t.why.of(row.figure, row.name)}
        {row.mark === "own" && <span class="own-flag"> · {t.why.mark("own")}</span>}
      </p>
      {!same && <p class="small">{(row.mark === "own" ? t.why.ownRange : t.why.range)(told(row.low), `${told(row.high)} ${unitShown(row.unit)}`)}</p>}
      <p class="small">{[t.why.mark(row.mark), row.source, row.note].filter(Boolean).join("; ")}</p>
      <a class="plain" href={`/materials#${material}.${row.figure}`} onClick={() => (asked.value = null)}>{t.why.own}</a>
    </div>
  );
}
