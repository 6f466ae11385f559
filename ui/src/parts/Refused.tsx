import type { Refusal } from "../api/call";
import type { RefusalTold } from "../api/kinds";
import { told as inWords } from "../words/told";

/** What could not be done, and the next move, as the program said it. */
export function Refused({ refusal }: { refusal: Refusal | RefusalTold | null }) {
  if (!refusal) return null;
  const told = refusal instanceof Error ? refusal.told : refusal;
  const found = told.remedy && told.sentence.endsWith(told.remedy) ? told.sentence.slice(0, -told.remedy.length).trim() : told.sentence;
  return (
    <div class="refused" role="alert">
      <p>{inWords(found)}</p>
      {found !== told.sentence && <p class="next">{inWords(told.remedy)}</p>}
    </div>
  );
}
