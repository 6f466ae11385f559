import { Refused } from "../parts/Refused";
import { t } from "../words";
import { drop, type Upload, uploads } from "./uploads";

/** Meshes on their way in, and those that were refused, each under its file's name. */
export function Uploads() {
  if (uploads.value.length === 0) return null;
  return (
    <section class="uploads" aria-labelledby="uploads-title">
      <h2 id="uploads-title" class="unseen">{t.drop.title}</h2>
      <ul>{uploads.value.map((item) => <li key={item.id}><OnItsWay item={item} /></li>)}</ul>
    </section>
  );
}

function OnItsWay({ item }: { item: Upload }) {
  if (item.state === "refused")
    return (
      <div class="turned-away">
        <p><strong>{item.name}</strong></p>
        <Refused refusal={item.refusal} />
        <button class="plain" onClick={() => drop(item.id)}>{t.drop.clear}</button>
      </div>
    );
  const words = item.state === "waiting" ? t.drop.waiting : item.share >= 1 ? t.drop.kept : t.drop.sending(item.share);
  return (
    <div class="under-way">
      <strong class="file">{item.name}</strong>
      <div class="bar" role="progressbar" aria-label={item.name} aria-valuemin={0} aria-valuemax={100} aria-valuenow={Math.round(item.share * 100)}>
        <i style={{ width: `${item.share * 100}%` }} />
      </div>
      <span class="words">{words}</span>
      <button class="plain" aria-label={`${t.drop.stop}: ${item.name}`} onClick={() => drop(item.id)}>{t.drop.stop}</button>
    </div>
  );
}
