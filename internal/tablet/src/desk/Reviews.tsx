// Reviews due: who should come back, by when, and how she is reached. Those overdue lead.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { ListReviewsDueResponse, ReviewDue } from "../messages";
import { dayText, t, word } from "../i18n";
import { go } from "../screens/route";
import { today } from "../screens/today";
import { usePages } from "./call";
import { DayField, More, Select, shift, span, State, Table, useNames } from "./parts";

/** Reviews is the screen. */
export function Reviews({ core }: { core: Core }) {
  const names = useNames(core);
  const [clinic, setClinic] = useState("");
  const [until, setUntil] = useState(shift(today(), 14));
  const asked = usePages<ListReviewsDueResponse, ReviewDue>(core, "trace/ListReviewsDue", { until, page_size: 100, ...(clinic ? { clinic_id: clinic } : {}) }, (a) => a.reviews, [clinic, until.year, until.month, until.day]);
  return (
    <>
      <div class="two"><Select id="reviews-clinic" label={t("desk.clinic")} value={clinic} options={[["", t("desk.all_clinics")], ...names.clinics]} onPick={setClinic} /><DayField id="reviews-until" label={t("reviews.until")} value={until} onPick={setUntil} /></div>
      <State asked={asked} />
      {asked.value && <p class="large strong">{t("reviews.n", { n: asked.rows.length, overdue: asked.rows.filter((r) => r.overdue).length })}{asked.more ? ` ${t("desk.and_more")}` : ""}</p>}
      {asked.value && <Table caption={word("desk", "reviews")} heads={[t("desk.patient"), t("reviews.due"), t("reviews.treated"), t("reviews.reach"), t("reviews.booked")]} empty={t("reviews.none")} rows={asked.rows.map((r) => [
        <button type="button" class="button quiet" style={{ textAlign: "start", paddingInline: 0 }} onClick={() => go({ screen: "patient", id: r.patient?.patient_id ?? "" })}>{r.patient?.name?.full ?? t("patient.unknown")}</button>,
        <>{dayText(r.review?.from)}{r.review?.until && <>{" \u2013 "}{dayText(r.review.until)}</>}{r.overdue && <><br /><span class="tag caution">{"\u25b2"} {t("reviews.overdue", { n: r.overdue_days ?? 0 })}</span></>}</>,
        <>{dayText(r.treated_on)}, {(r.regions ?? []).map((x) => word("region", x)).join(", ")}<br /><span class="soft small">{names.staff(r.responsible_id)}, {names.clinic(r.clinic_id)}</span>
          {(r.given ?? []).length > 0 && <details><summary style={{ minHeight: "var(--control)", display: "flex", alignItems: "center", cursor: "pointer" }}>{"\u25be"} {t("close.given")}</summary><ul>{(r.given ?? []).map((g) => <li>{g.product}, {word("muscle", g.muscle)}{g.side ? `, ${word("side", g.side)}` : ""}: {span(g.dose)}</li>)}</ul></details>}</>,
        [r.contact?.phone, r.contact?.email].filter(Boolean).join(", ") || t("calls.no_contact"),
        r.appointment_id ? `\u2713 ${t("desk.yes")}` : t("desk.no"),
      ])} />}
      <More more={asked.more} busy={asked.busy} />
    </>
  );
}
