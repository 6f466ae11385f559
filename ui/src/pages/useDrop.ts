import { useEffect, useState } from "preact/hooks";

/** Makes the whole page take files. Returns whether some are held over it. */
export function useDrop(take: (files: File[]) => void): boolean {
  const [over, setOver] = useState(false);
  useEffect(() => {
    let depth = 0; // enter and leave come for every element under the pointer
    const carries = (event: DragEvent): boolean => event.dataTransfer?.types.includes("Files") ?? false;
    const on: Record<string, (event: DragEvent) => void> = {
      dragenter: () => setOver(++depth > 0),
      dragover: (event) => (event.dataTransfer!.dropEffect = "copy"),
      dragleave: () => setOver(--depth > 0),
      drop: (event) => {
        depth = 0;
        setOver(false);
        take([...event.dataTransfer!.files]);
      },
    };
    const hear = (event: Event): void => {
      if (!carries(event as DragEvent)) return;
      event.preventDefault();
      on[event.type]!(event as DragEvent);
    };
    for (const name of Object.keys(on)) document.addEventListener(name, hear);
    return () => {
      for (const name of Object.keys(on)) document.removeEventListener(name, hear);
    };
  }, []);
  return over;
}
