import { t } from "../words";
import { figureName, type Material, range, restsOn, type ShelfFigure, value } from "./shelf";

/** The figures of one material, a line each; where the shop has its own, the row's stands beside. */
export function MaterialFigures({ material }: { material: Material }) {
  return (
    <section class="figures" aria-labelledby="material-name">
      <h2 id="material-name">{material.name}</h2>
      {material.figures.length === 0 ? <p class="small">{t.materials.none}</p> : (
        <table>
          <thead>
            <tr>
              <th scope="col">{t.materials.figure}</th>
              <th scope="col" class="number">{t.materials.usual}</th>
              <th scope="col">{t.materials.range}</th>
              <th scope="col">{t.materials.rests}</th>
              <th scope="col"><span class="unseen">{t.materials.set}</span></th>
            </tr>
          </thead>
          <tbody>{material.figures.map((figure) => <Line key={figure.figure} of={material.id} figure={figure} />)}</tbody>
        </table>
      )}
    </section>
  );
}

function Line({ of, figure }: { of: string; figure: ShelfFigure }) {
  const now = figure.own ?? figure;
  const name = figureName(figure.figure);
  const typical = value(now.typical, figure.unit);
  return (
    <tr id={`${of}.${figure.figure}`} class={figure.own ? "is-own" : undefined}>
      <th scope="row">{name}</th>
      <td class="number"><strong>{typical.value}</strong> <span class="unit">{typical.unit}</span></td>
      <td class="range">{now.low === now.high ? "" : range(now.low, now.high, figure.unit)}</td>
      <td class="rests">
        {figure.own ? (
          <>
            <span class="own-flag">{t.materials.ownFlag}</span> {figure.own.note}
            <span class="row-says">{t.materials.rowSays(saidByRow(figure))}</span>
          </>
        ) : (
          <>
            {restsOn(figure.mark)}
            {(figure.source || figure.note) && <span class="source">{[figure.source, figure.note].filter(Boolean).join("; ")}</span>}
          </>
        )}
      </td>
      <td class="act"><a class="plain" href={`#${of}.${figure.figure}`} aria-label={t.materials.setOf(name.toLowerCase())}>{figure.own ? t.materials.change : t.materials.set}</a></td>
    </tr>
  );
}

export function saidByRow(figure: ShelfFigure): string {
  const typical = value(figure.typical, figure.unit);
  return `${typical.value} ${typical.unit} (${range(figure.low, figure.high, figure.unit)})`;
}
