import { signal } from "@preact/signals";
import { t } from "../words";

interface Said {
  words: string;
  undo?: () => void;
}

const said = signal<Said | null>(null);
let timer: ReturnType<typeof setTimeout> | undefined;

/** Say what was just done; with a way back where there is one. */
export function say(words: string, undo?: () => void): void {
  said.value = undo ? { words, undo } : { words };
  clearTimeout(timer);
  timer = setTimeout(() => (said.value = null), undo ? 15_000 : 5_000);
}

export function Toast() {
  const now = said.value;
  return (
    <div role="status" aria-live="polite">
      {now && (
        <div class="toast">
          <span>{now.words}</span>
          {now.undo && (
            <button
              onClick={() => {
                now.undo?.();
                said.value = null;
              }}
            >
              {t.common.undo}
            </button>
          )}
        </div>
      )}
    </div>
  );
}
