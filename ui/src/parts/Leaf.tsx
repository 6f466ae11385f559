import type { ComponentChildren } from "preact";
import { useEffect, useRef } from "preact/hooks";
import { t } from "../words";

/** A leaf laid over the right of the page; Escape or a click beside it takes it away. */
export function Leaf({ title, close, children }: { title: string; close: () => void; children: ComponentChildren }) {
  const at = useRef<HTMLDialogElement>(null);
  useEffect(() => {
    const dialog = at.current!;
    const before = document.activeElement as HTMLElement | null;
    dialog.showModal();
    return () => {
      dialog.close();
      before?.focus?.();
    };
  }, []);
  return (
    <dialog
      ref={at}
      class="leaf"
      aria-label={title}
      onCancel={(event) => {
        event.preventDefault();
        close();
      }}
      onClick={(event) => event.target === at.current && outside(at.current!, event) && close()}
    >
      <div class="head">
        <h2>{title}</h2>
        <button class="plain" onClick={close}>{t.common.close}</button>
      </div>
      {children}
    </dialog>
  );
}

function outside(dialog: HTMLElement, event: MouseEvent): boolean {
  const box = dialog.getBoundingClientRect();
  return event.clientX < box.left || event.clientX > box.right || event.clientY < box.top || event.clientY > box.bottom;
}
