// A new patient: name and date of birth, each of which is one of the two that identify her. Whoever may be her already is shown before she is added.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import { dayText, t } from "../i18n";
import { useRead } from "../use";
import { Choice } from "../ui/Choice";
import { Field, useDraft } from "../ui/Field";
import { go } from "./route";
import { act } from "./visit/record";
import { attempt } from "./visit/useVisit";

const whole = (text: string) => (/^\d{1,4}$/.test(text.trim()) ? Number(text) : 0);

/** NewPatient adds a patient. */
export function NewPatient({ core, onClose }: { core: Core; onClose: () => void }) {
  const [name, setName, forget] = useDraft(core, "new-patient/name");
  const [day, setDay] = useState(""), [month, setMonth] = useState(""), [year, setYear] = useState("");
  const [proof, setProof] = useState<"BIRTH_PROOF_STATED" | "BIRTH_PROOF_DOCUMENT" | undefined>(undefined);
  const [tried, setTried] = useState(false);
  const date = { year: whole(year), month: whole(month), day: whole(day) };
  const complete = date.year > 1900 && date.month >= 1 && date.month <= 12 && date.day >= 1 && date.day <= 31;
  const alike = useRead(core, async () => (complete || name.trim().length > 2 ? core.patients({ text: name.trim(), ...(complete ? { born_on: date } : {}), most: 5 }) : []), [name, year, month, day]).value ?? [];
  const save = async () => {
    setTried(true);
    if (!name.trim() || !complete || !proof) return;
    const id = core.newId(), checked = act(core.person.value.staff_id);
    const patient = { id, name: { full: name.trim() }, birth: { date, proof, checked }, home_clinic_id: core.device.value.clinic_id };
    if (await attempt(() => core.edit({ record: { patient }, update_mask: ["name", "birth", "home_clinic_id"] }))) { forget(); go({ screen: "patient", id }); }
  };
  return (
    <section class="card marked stack" aria-label={t("new.title")}>
      <h2>{t("new.title")}</h2>
      <Field id="new-name" label={t("new.name")} value={name} onInput={setName} wrong={tried && !name.trim() ? t("new.name_needed") : undefined} />
      <fieldset>
        <legend>{t("new.born")}</legend>
        <div class="row top">
          <Field id="new-day" label={t("pack.day")} value={day} onInput={setDay} inputMode="numeric" />
          <Field id="new-month" label={t("pack.month")} value={month} onInput={setMonth} inputMode="numeric" hint={t("pack.month_hint")} />
          <Field id="new-year" label={t("pack.year")} value={year} onInput={setYear} inputMode="numeric" wrong={tried && !complete ? t("new.born_needed") : undefined} />
        </div>
        {complete && <p class="strong">{dayText(date)}</p>}
      </fieldset>
      <Choice legend={t("new.proof")} value={proof} onPick={setProof} options={[{ value: "BIRTH_PROOF_DOCUMENT", label: t("new.proof_document") }, { value: "BIRTH_PROOF_STATED", label: t("new.proof_stated") }]} />
      {tried && !proof && <p class="field"><span class="wrong">{t("new.proof_needed")}</span></p>}
      {alike.length > 0 && <div class="message caution stack tight"><p class="strong">{t("new.alike")}</p><div class="rows">{alike.map((p) => <button type="button" class="line" onClick={() => go({ screen: "patient", id: p.patient_id ?? "" })}><span class="strong">{p.name?.full}</span><span>{dayText(p.birth?.date)}</span></button>)}</div></div>}
      <div class="row"><button type="button" class="button chart" onClick={onClose}>{t("changed.leave")}</button><button type="button" class="button primary great grow" onClick={save}>{t("new.save")}</button></div>
    </section>
  );
}
