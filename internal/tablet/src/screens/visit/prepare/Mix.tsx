// Adding the diluent: how much of what, of which batch, how it looked, who checked. Nothing is assumed.

import { useState } from "preact/hooks";
import type { ClarityFinding, RecordView } from "../../../messages";
import { t, word } from "../../../i18n";
import { useRead } from "../../../use";
import { Choice } from "../../../ui/Choice";
import { Field } from "../../../ui/Field";
import { Findings } from "../../../ui/Findings";
import { Keypad } from "../../../ui/Keypad";
import { Quantity } from "../../../ui/Quantity";
import { nanoliters, quantityText, unitsOf } from "../../../ui/decimal";
import { act } from "../record";
import { attempt, type Visit } from "../useVisit";

const kinds = ["sodium_chloride_0_9_preservative_free", "sodium_chloride_0_9_bacteriostatic", "water_for_injection"] as const;

/** Mix records the preparation of a vial. */
export function Mix({ visit, view, product }: { visit: Visit; view: RecordView; product: string }) {
  const vial = view.record!.vial!;
  const [volume, setVolume] = useState("");
  const [asking, setAsking] = useState(true);
  const [kind, setKind] = useState<string>(kinds[0]);
  const [lot, setLot] = useState("");
  const [clarity, setClarity] = useState<ClarityFinding | undefined>(undefined);
  const content = unitsOf(vial.presentation?.content_milliunits);
  const answer = useRead(visit.core, async () => (volume ? visit.core.prepare({ product, vial: { content_units: content, diluent_ml: volume, diluent: kind }, mixed_at: act("").at! }) : null), [volume, kind]).value;
  const save = () => attempt(async () => {
    const id = visit.core.newId(), by = act(visit.core.person.value.staff_id);
    const mixed = { id, diluent: { kind, volume_nanoliters: nanoliters(volume)!, lot_number: lot.trim() }, mixed: by, ...(clarity ? { clarity: { finding: clarity, seen: by } } : {}),
      ...(answer?.use_by ? { use_by: { until: answer.use_by, set: by } } : {}) };
    await visit.core.edit({ record: { vial: { id: vial.id!, preparations: [mixed] } }, update_mask: [`preparations[${id}]`], ...(view.context ? { context: view.context } : {}) });
  });
  if (asking) {
    return <div class="card"><Keypad label={t("mix.ask")} unit="mL" value={volume} places={6} range={t("mix.range", { units: quantityText(content, "units") })} onDone={(ml) => { setVolume(ml); setAsking(false); }} onLeave={() => setAsking(false)} /></div>;
  }
  return (
    <section class="card stack" aria-label={t("mix.title")}>
      <h2>{t("mix.title")}</h2>
      <button type="button" class="button great" onClick={() => setAsking(true)}>{volume ? <Quantity value={volume} unit="mL" /> : t("mix.ask")}</button>
      {answer && <p class="large">{t("mix.makes")} <Quantity value={answer.concentration?.units_per_tenth_ml ?? ""} unit="units" /> {t("strength.per", { volume: quantityText("0.1", "mL") })}</p>}
      <Choice legend={t("mix.kind")} value={kind} onPick={setKind} options={kinds.map((value) => ({ value, label: word("diluent", value) }))} />
      <Field id="mix-lot" label={t("mix.lot")} value={lot} onInput={setLot} />
      <Choice legend={t("mix.clarity")} value={clarity} onPick={setClarity} options={(["CLARITY_FINDING_CLEAR", "CLARITY_FINDING_CLOUDY", "CLARITY_FINDING_PARTICLES"] as const).map((value) => ({ value, label: word("clarity", value) }))} />
      <Findings findings={answer?.findings ?? []} />
      <button type="button" class="button primary great" onClick={save} aria-disabled={!volume}>{t("mix.save")}</button>
    </section>
  );
}
