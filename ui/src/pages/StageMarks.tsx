import type { StageCard } from "../api/kinds";
import { t } from "../words";

/** Each state has a shape of its own, so that it reads without colour. */
const SHAPES: Record<StageCard["state"], preact.JSX.Element> = {
  waiting: <path d="M9 4v10" />,
  planned: <circle cx="9" cy="9" r="5.5" />,
  working: <><circle cx="9" cy="9" r="5.5" /><path d="M9 3.5a5.5 5.5 0 0 1 0 11z" class="full" /></>,
  attention: <path d="M9 1.5 16.5 9 9 16.5 1.5 9zM9 5.4v4.4M9 12v.6" />,
  done: <><circle cx="9" cy="9" r="7" class="full" /><path d="m5.6 9.2 2.5 2.5 4.4-5" class="tick" /></>,
};

/** Where the three stages of a job stand: marks along a ruler, each with its word. */
export function StageMarks({ stages, label }: { stages: StageCard[]; label: string }) {
  return (
    <ol class="stage-marks" aria-label={label}>
      {stages.map(({ stage, state, words }) => (
        <li key={stage} class={state} title={words}>
          <svg viewBox="0 0 18 18" aria-hidden="true">{SHAPES[state]}</svg>
          <span class="what">{t.stage.names[stage]}</span>
          <span class="word">{t.stage.states[state]}</span>
        </li>
      ))}
    </ol>
  );
}
