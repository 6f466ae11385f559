import type { Job, StageName } from "../api/kinds";
import { inUnits } from "../units";
import { jobWords as w } from "../words/job";

/** The way of the work as a rule: a long line at each stage, the one that lies open marked. */
export function Way({ job, stage }: { job: Job; stage: StageName }) {
  return (
    <nav class="way" aria-label={w.way}>
      <ol>
        {job.stages.map((card) => (
          <li key={card.stage} class={card.state}>
            <a href={`/jobs/${job.id}/${card.stage}`} aria-current={card.stage === stage ? "step" : undefined}>
              <span class="way-name">{w.stages[card.stage]}</span>
              <span class="way-words">{inUnits(card.words)}</span>
            </a>
          </li>
        ))}
      </ol>
    </nav>
  );
}
