import type { Mind } from "./minds";
import { told } from "../words/told";
import { jobWords as w } from "../words/job";

/** Warnings; one with a place flies the camera there. */
export function Minds({ minds, fly }: { minds: Mind[]; fly: (mind: Mind) => void }) {
  if (minds.length === 0) return null;
  return (
    <ul class="minds">
      {minds.map((mind) => (
        <li key={mind.id} class={`mind ${mind.weight}`}>
          <span class="sign" aria-hidden="true">{mind.number}</span>
          <div>
            <p><span class="unseen">{w.weight[mind.weight]}: </span>{told(mind.words)}</p>
            {mind.more && <p class="small">{told(mind.more)}</p>}
            {mind.place && <button class="plain" onClick={() => fly(mind)}>{w.showPlace}<span class="unseen"> {mind.number}</span></button>}
          </div>
        </li>
      ))}
    </ul>
  );
}
