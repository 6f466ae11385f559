import { duration, figure, inUnits, span, unitShown } from "../units";
import { t } from "../words";
import { jobWords as w } from "../words/job";
import { Blank } from "./Blank";
import { Ask, Fig } from "./Fig";
import { Minds } from "./Minds";
import type { Stage } from "./stage";

interface Coat { name: string; thickness_mm: number | null; a_g: number; b_g: number; powder_g?: number; batches: { a_g: number; b_g: number; powder_g?: number; pot_life_min?: number }[]; next_coat_min?: [number, number] | null; note?: string }

/** Resin and powder, coat by coat; how many are cast and what one weighs. */
export function CastSide({ plan, hand, minds, scene, run }: Stage) {
  const powder = hand.value("cast.powder");
  return (
    <>
      <h1>{w.stages.cast}</h1>
      <p class="say">
        <Blank hand={hand} field="job.good_castings" /> {w.cast.good} <Blank hand={hand} field="cast.resin" />, {w.cast.wall} <Blank hand={hand} field="cast.wall_mm" /> {w.cast.face} <Blank hand={hand} field="cast.face_coat_mm" />
        {powder !== "none" ? <> {w.cast.powder} <Blank hand={hand} field="cast.powder" /> {w.cast.by} <Blank hand={hand} field="cast.powder_basis" /></> : <>, {w.cast.noPowder} <Blank hand={hand} field="cast.powder" /></>}.
        {" "}{w.cast.room} <Blank hand={hand} field="shop.temperature_c" />, <Blank hand={hand} field="shop.humidity_pct" /> {w.cast.humid}.
      </p>
      {plan && <Coats coats={plan.parts[0].cast.coats} run={run!} />}
      {plan?.parts[0].cast.castings_made_of?.sentence && <p class="small">{inUnits(plan.parts[0].cast.castings_made_of.sentence)}</p>}
      {minds.length > 0 && <h2>{w.mind}</h2>}
      <Minds minds={minds} fly={scene.fly} />
      {plan && <Cautions cautions={plan.cautions} />}
    </>
  );
}

/** One line a coat: what is weighed out for one casting, cup by cup. */
function Coats({ coats, run }: { coats: Coat[]; run: string }) {
  const weighed = (grams: number): string => `${figure(grams, "g", 1)} ${unitShown("g")}`;
  return (
    <section aria-label={w.cast.coats}>
      <h2>{w.cast.coats}</h2>
      <ol class="coats">
        {coats.map((coat, i) => (
          <li key={coat.name}>
            <h3>{coat.name}{coat.thickness_mm ? `, ${figure(coat.thickness_mm, "mm", 1)} ${unitShown("mm")}` : ""}</h3>
            {coat.batches.map((cup, j) => (
              <p key={j}>
                {coat.batches.length > 1 && `${w.cast.cup(j + 1)}: `}
                <Ask run={run} path={`parts.0.cast.coats.${i}.batches.${j}.a_g`} what={coat.name}>{w.cast.mix(weighed(cup.a_g), weighed(cup.b_g), cup.powder_g ? weighed(cup.powder_g) : "")}</Ask>
                {cup.pot_life_min ? <span class="small"> {w.cast.pot(duration(cup.pot_life_min))}</span> : null}
              </p>
            ))}
            {coat.next_coat_min && <p class="small">{w.cast.next(duration(coat.next_coat_min[0]), duration(coat.next_coat_min[1]))}</p>}
          </li>
        ))}
      </ol>
    </section>
  );
}

function Cautions({ cautions }: { cautions: { id: string; title: string; text: string }[] }) {
  return (
    <section aria-label={w.cautions}>
      <h2>{w.cautions}</h2>
      {cautions.map((c) => (
        <details key={c.id}><summary>{c.title}</summary><p>{c.text}</p></details>
      ))}
      <p class="small">{w.cautionsFirst}</p>
    </section>
  );
}

export function CastFollows({ run, plan }: Stage) {
  if (!plan || !run) return null;
  const cast = plan.parts[0].cast;
  return (
    <>
      <Fig run={run} path="parts.0.cast.pull_mass_g" value={cast.pull_mass_g.p50} unit="g" digits={0} spread={cast.pull_mass_g} what={w.figs.pull} />
      <Fig run={run} path="parts.0.cast.castings" value={cast.castings} unit="" what={w.figs.castings} />
      {cast.waste_g !== undefined && <Fig run={run} path="parts.0.cast.waste_g" value={cast.waste_g} unit="g" digits={0} what={w.figs.waste} />}
      <Fig run={run} path="schedule.casting_min.0" value={plan.schedule.casting_min[0]} unit="min" words={span(plan.schedule.casting_min[0], plan.schedule.casting_min[1])} what={w.figs.castTime} />
      <Fig run={run} path="schedule.edition_days" value={plan.schedule.edition_days} unit="" words={t.count(plan.schedule.edition_days, "day", "days")} what={w.figs.edition} />
    </>
  );
}
