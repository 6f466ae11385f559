import { at } from "../api/at";
import { useEffect, useState } from "preact/hooks";
import { useAsked } from "../live/ask";
import { Refused } from "../parts/Refused";
import { Top } from "../parts/Top";
import { leaf } from "../words/leaves";
import "./materials.css";
import { MaterialFigures } from "./MaterialFigures";
import { OwnFigureLeaf } from "./OwnFigureLeaf";
import { Moment } from "./Moment";
import { byKind, kindName, type Material, named, namedBy } from "./shelf";

/** Every material with its figures; the address names the one that is shown, and the figure being set. */
export function MaterialsPage() {
  const asked = useAsked(at("/api/materials"), "figures");
  const wanted = namedBy(useHash());
  const materials = asked.data?.materials ?? [];
  const shown = wanted ? materials.find((one) => one.id === wanted.material) : materials[0];
  const figure = shown?.figures.find((one) => one.figure === wanted?.figure);
  const opened = shown && figure && `${shown.id}.${figure.figure}`;
  useEffect(() => {
    if (!opened) return;
    const line = document.getElementById(opened);
    line?.scrollIntoView({ block: "center" });
    return () => line?.querySelector("a")?.focus();
  }, [opened]);
  return (
    <>
      <Top />
      <main class="page materials">
        <h1>{leaf.materials.title}</h1>
        <p class="lead">{leaf.materials.lead}</p>
        <Refused refusal={asked.refusal} />
        <Moment until={asked.data ?? asked.refusal} />
        {asked.data && (
          <div class="shelf">
            <Chooser materials={materials} shown={shown?.id} />
            {shown ? <MaterialFigures material={shown} /> : <p>{leaf.materials.unknown(wanted?.material ?? "")}</p>}
          </div>
        )}
      </main>
      {shown && figure && (
        <OwnFigureLeaf
          key={opened} material={shown} figure={figure}
          close={() => goTo(shown.id)}
          changed={asked.again}
        />
      )}
    </>
  );
}

/** Closing a figure's form leaves its material in the address, without a step to go back to. */
function goTo(material: string): void {
  history.replaceState(null, "", `#${material}`);
  dispatchEvent(new HashChangeEvent("hashchange"));
}

function useHash(): string {
  const [hash, setHash] = useState(location.hash);
  useEffect(() => {
    const hear = (): void => setHash(location.hash);
    addEventListener("hashchange", hear);
    addEventListener("popstate", hear);
    return () => {
      removeEventListener("hashchange", hear);
      removeEventListener("popstate", hear);
    };
  }, []);
  return hash;
}

function Chooser({ materials, shown }: { materials: Material[]; shown: string | undefined }) {
  return (
    <nav class="shelf-list" aria-label={leaf.materials.choose}>
      {byKind(materials).map(({ kind, materials: some }) => (
        <section key={kind} aria-labelledby={`kind-${kind}`}>
          <h2 id={`kind-${kind}`}>{kindName(kind)}</h2>
          <ul>
            {some.map((one) => {
              const own = one.figures.filter((figure) => figure.own).length;
              return (
                <li key={one.id}>
                  <a href={`#${one.id}`} aria-current={one.id === shown ? "true" : undefined}>
                    {named(one)} {own > 0 && <span class="own-flag">{leaf.materials.own(own)}</span>}
                  </a>
                </li>
              );
            })}
          </ul>
        </section>
      ))}
    </nav>
  );
}
