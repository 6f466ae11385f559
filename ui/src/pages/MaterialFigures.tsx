import { leaf } from "../words/leaves";
import { figureName, type Material, named, range, restsOn, type ShelfFigure, value } from "./shelf";

/** The figures of one material, a line each; where the shop has its own, the row's stands beside. */
export function MaterialFigures({ material }: { material: Material }) {
  return (
    <section class="figures" aria-labelledby="material-name">
      <h2 id="material-name">{named(material)}</h2>
      {material.figures.length === 0 ? <p class="small">{leaf.materials.none}</p> : (
        <table>
          <thead>
            <tr>
              <th scope="col">{leaf.materials.figure}</th>
              <th scope="col" class="number">{leaf.materials.usual}</th>
              <th scope="col">{leaf.materials.range}</th>
              <th scope="col">{leaf.materials.rests}</th>
              <th scope="col"><span class="unseen">{leaf.materials.set}</span></th>
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
            <span class="own-flag">{leaf.materials.ownFlag}</span> {figure.own.note}
            <span class="row-says">{leaf.materials.rowSays(saidByRow(figure))}</span>
          </>
        ) : (
          <>
            <span class="mark">{restsOn(figure.mark)}</span>
            {(figure.source || figure.note) && <span class="source">{[figure.source, figure.note].filter(Boolean).join("; ")}</span>}
          </>
        )}
      </td>
      <td class="act"><a class="plain" href={`#${of}.${figure.figure}`} aria-label={leaf.materials.actOn(figure.own ? leaf.materials.change : leaf.materials.set, name)}>{figure.own ? leaf.materials.change : leaf.materials.set}</a></td>
    </tr>
  );
}

export function saidByRow(figure: ShelfFigure): string {
  const typical = value(figure.typical, figure.unit);
  return `${typical.value} ${typical.unit} (${range(figure.low, figure.high, figure.unit)})`;
}
