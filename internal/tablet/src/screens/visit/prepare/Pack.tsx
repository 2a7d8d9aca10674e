// A new pack: its label by the camera or by hand.

import { useState } from "preact/hooks";
import type { Vial } from "../../../messages";
import { t } from "../../../i18n";
import { useRead } from "../../../use";
import { Choice } from "../../../ui/Choice";
import { Field } from "../../../ui/Field";
import { quantityText, unitsOf } from "../../../ui/decimal";
import { act } from "../record";
import { attempt, type Visit } from "../useVisit";
import { Scan } from "./Scan";

interface Typed { lot: string; serial: string; number: string; day: string; month: string; year: string }

const empty: Typed = { lot: "", serial: "", number: "", day: "", month: "", year: "" };

const whole = (text: string) => (/^\d{1,4}$/.test(text.trim()) ? Number(text) : 0);

/** wrongDay says what is wrong with a typed expiry. A year is written with four digits, so that no day is read for one. */
function wrongDay(v: Typed): string | undefined {
  if (whole(v.year) < 2000) return t("pack.year_four");
  if (whole(v.month) < 1 || whole(v.month) > 12) return t("pack.month_range");
  return whole(v.day) < 1 || whole(v.day) > 31 ? t("pack.day_range") : undefined;
}

/** Pack records a new vial and answers its id. */
export function Pack({ visit, product, onMade }: { visit: Visit; product: string; onMade: (id: string) => void }) {
  const [v, setV] = useState<Typed>(empty);
  const [content, setContent] = useState<string | undefined>(undefined);
  const [tried, setTried] = useState(false);
  const formulary = useRead(visit.core, () => visit.core.formulary(), []).value;
  const offered = (formulary?.presentations ?? []).map((p) => p.value).filter((p) => p?.product === product && p?.content_milliunits);
  const sizes = [...new Map(offered.map((p) => [unitsOf(p!.content_milliunits), p!])).entries()];
  const set = (name: keyof Typed) => (text: string) => setV({ ...v, [name]: text });
  const wrong = { lot: v.lot.trim() ? undefined : t("pack.lot_needed"), day: wrongDay(v), content: content ? undefined : t("pack.content_needed") };
  const save = async () => {
    setTried(true);
    if (wrong.lot || wrong.day || wrong.content) return;
    const id = visit.core.newId();
    const size = sizes.find(([units]) => units === content)![1];
    const year = whole(v.year), month = whole(v.month);
    const vial: Vial = { id, short_number: v.number.trim(), ...(visit.session.clinic_id ? { clinic_id: visit.session.clinic_id } : {}),
      presentation: { product, content_milliunits: size.content_milliunits!, ...(size.liquid_nanoliters ? { liquid_nanoliters: size.liquid_nanoliters } : {}) },
      labelling: { lot_number: v.lot.trim(), serial: v.serial.trim(), expires_on: { year, month, day: whole(v.day) }, reading: "LABEL_READING_HAND", read: act(visit.core.person.value.staff_id) } };
    if (await attempt(() => visit.core.edit({ record: { vial }, update_mask: ["short_number", "clinic_id", "presentation", "labelling"] }))) onMade(id);
  };
  return (
    <section class="card stack" aria-label={t("pack.title")}>
      <h2>{t("pack.title")}</h2>
      <Scan />
      <Choice legend={t("pack.content")} value={content} onPick={setContent} options={sizes.map(([value]) => ({ value, label: quantityText(value, "units") }))} />
      {tried && wrong.content && <p class="field"><span class="wrong">{wrong.content}</span></p>}
      <div class="two">
        <Field id="pack-lot" label={t("pack.lot")} value={v.lot} onInput={set("lot")} wrong={tried ? wrong.lot : undefined} />
        <Field id="pack-serial" label={t("pack.serial")} value={v.serial} onInput={set("serial")} hint={t("pack.serial_hint")} />
      </div>
      <fieldset>
        <legend>{t("pack.expires")}</legend>
        <div class="row top">
          <Field id="pack-day" label={t("pack.day")} value={v.day} onInput={set("day")} inputMode="numeric" hint={t("pack.day_hint")} />
          <Field id="pack-month" label={t("pack.month")} value={v.month} onInput={set("month")} inputMode="numeric" hint={t("pack.month_hint")} />
          <Field id="pack-year" label={t("pack.year")} value={v.year} onInput={set("year")} inputMode="numeric" hint={t("pack.year_hint")} wrong={tried ? wrong.day : undefined} />
        </div>
      </fieldset>
      <Field id="pack-number" label={t("pack.number")} value={v.number} onInput={set("number")} hint={t("pack.number_hint")} />
      <button type="button" class="button primary great" onClick={save}>{t("pack.save")}</button>
    </section>
  );
}
