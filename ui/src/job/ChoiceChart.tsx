import { figure, unitShown } from "../units";
import { t } from "../words";
import { jobWords as w } from "../words/job";

export interface Option { pieces: number; fill_cm3: number; fill_g: number; silicone_g: { p50: number } | number; shell_g: { p50: number } | number; shell_min: number; silicone_cost: number | null; recommended: boolean; strips_badly: boolean; deepest_fill_mm: number; locks: { piece: number; place_mm: [number, number, number]; volume_cm3: number; sentence: string }[]; pulls: [number, number, number][]; walls: { through: [number, number, number]; facing: [number, number, number]; bend?: [number, number, number][] }[]; outlines: number[][][][] }

const W = 372, H = 190, LEFT = 54, RIGHT = 18, TOP = 16, FOOT = 46;

export function middle(value: { p50: number } | number): number {
  return typeof value === "number" ? value : value.p50;
}

/** Pieces against silicone: an even layer in every shell, and above it what only fills undercuts. */
export function ChoiceChart({ options, chosen, choose }: { options: Option[]; chosen: number; choose: (pieces: number) => void }) {
  const most = Math.max(...options.map((o) => middle(o.silicone_g))) * 1.12;
  const counts = [1, 2, 3, 4];
  const x = (pieces: number): number => LEFT + ((pieces - 0.5) / counts.length) * (W - LEFT - RIGHT);
  const y = (grams: number): number => TOP + (1 - grams / most) * (H - TOP - FOOT);
  const ticks = niceTicks(most);
  const line = options.map((o, i) => `${i ? "L" : "M"}${x(o.pieces)} ${y(middle(o.silicone_g))}`).join("");
  return (
    <div class="choice">
      <svg viewBox={`0 0 ${W} ${H}`} role="img" aria-label={w.choice.chart}>
        {ticks.map((tick) => (
          <g key={tick}>
            <line x1={LEFT} x2={W - RIGHT} y1={y(tick)} y2={y(tick)} class="hair" />
            <text x={LEFT - 8} y={y(tick) + 5} text-anchor="end">{figure(tick, "g", 0)}</text>
          </g>
        ))}
        {options.map((o) => {
          const all = middle(o.silicone_g);
          const even = all - o.fill_g;
          return (
            <g key={o.pieces} class={o.pieces === chosen ? "chosen" : ""}>
              <rect x={x(o.pieces) - 15} width="30" y={y(even)} height={Math.max(0, y(0) - y(even))} class="even" />
              <rect x={x(o.pieces) - 15} width="30" y={y(all)} height={Math.max(0, y(even) - y(all))} class="fill" />
            </g>
          );
        })}
        <path d={line} class="line" />
        {options.map((o) => <circle key={o.pieces} cx={x(o.pieces)} cy={y(middle(o.silicone_g))} r={o.pieces === chosen ? 7 : 5} class={o.pieces === chosen ? "dot on" : "dot"} />)}
        <text x={LEFT - 8} y={TOP - 3} text-anchor="end">{unitShown("g")}</text>
      </svg>
      <fieldset class="choice-points" style={{ paddingLeft: `${(LEFT / W) * 100}%`, paddingRight: `${(RIGHT / W) * 100}%` }}>
        <legend class="unseen">{w.choice.legend}</legend>
        {counts.map((count) => {
          const option = options.find((o) => o.pieces === count);
          return option ? (
            <label key={count} class={count === chosen ? "on" : ""}>
              <input type="radio" name="pieces" class="unseen" checked={count === chosen} onChange={() => choose(count)} />
              <span class="unseen">{w.choice.point(count, `${figure(middle(option.silicone_g), "g")} ${unitShown("g")}`)}</span>
              <span aria-hidden="true">{t.pieces(count)}</span>
            </label>
          ) : <span key={count} class="none" />;
        })}
      </fieldset>
      <p class="keyline small"><i class="k even" /> {w.choice.even} <i class="k fill" /> {w.choice.fill}</p>
    </div>
  );
}

/** About four round figures from nothing to the most. */
function niceTicks(most: number): number[] {
  const rough = most / 3;
  const power = 10 ** Math.floor(Math.log10(rough));
  const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= rough) ?? rough;
  return Array.from({ length: Math.floor(most / step) + 1 }, (_, i) => i * step);
}

/** The split seen from above, with the way each piece leaves. */
export function FromAbove({ option, relief }: { option: Option; relief: { outlines: number[][][] }[] }) {
  const points = option.outlines.flat(2) as number[][];
  if (points.length === 0) return null;
  const xs = points.map((p) => p[0]!), ys = points.map((p) => p[1]!);
  const low = [Math.min(...xs), Math.min(...ys)], high = [Math.max(...xs), Math.max(...ys)];
  const pad = 8;
  const path = (outline: number[][]): string => `M${outline.map((p) => `${p[0]!.toFixed(1)} ${(-p[1]!).toFixed(1)}`).join("L")}Z`;
  return (
    <svg class="above-view" viewBox={`${low[0]! - pad} ${-high[1]! - pad} ${high[0]! - low[0]! + 2 * pad} ${high[1]! - low[1]! + 2 * pad}`} role="img" aria-label={w.choice.above}>
      {option.outlines.map((piece, i) => <path key={i} d={piece.map(path).join("")} class={`piece p${i % 4}`} fill-rule="evenodd" />)}
      {relief.flatMap((level, i) => level.outlines.map((outline, j) => <path key={`${i}-${j}`} d={path(outline)} class="relief" />))}
      {option.outlines.map((piece, i) => {
        const all = piece.flat();
        const cx = all.reduce((s, p) => s + p[0]!, 0) / all.length, cy = all.reduce((s, p) => s + p[1]!, 0) / all.length;
        return <text key={i} x={cx} y={-cy} class="piece-name">{i + 1}</text>;
      })}
    </svg>
  );
}
