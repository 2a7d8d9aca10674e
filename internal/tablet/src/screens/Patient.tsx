// A patient: who she is, what must be known of her, what she had and when, and the visits. Where nothing is known the screen says so; it never looks clear.

import type { Core } from "../core";
import type { GetToxinHistoryResponse, RecordView } from "../messages";
import { dayText, momentText, t, word } from "../i18n";
import { useRead } from "../use";
import { Cited, Findings } from "../ui/Findings";
import { quantityText } from "../ui/decimal";
import { Caution, Frame } from "./Frame";
import { mainRail } from "./Day";
import { go } from "./route";
import { startVisit } from "./start";
import { Faults } from "./visit/Visit";

/** Patient is the screen. */
export function Patient({ core, id }: { core: Core; id: string }) {
  const line = useRead(core, () => core.patient(id), [id]).value;
  const sessions = useRead(core, () => core.sessions({ patient_id: id }), [id]).value ?? [];
  const history = useRead(core, () => core.toxinHistory({ patient_id: id }), [id]);
  return (
    <Frame core={core} rail={mainRail("patient")} title={line?.name?.full ?? t("patient.unknown")} head={<><strong>{line?.name?.full}</strong><span>{t("patient.born", { day: dayText(line?.birth?.date) })}</span></>}
      deck={<><button type="button" class="button" onClick={() => startVisit(core, { patient_id: id, kind: "SESSION_KIND_CONSULTATION" })}>{t("patient.consult")}</button><button type="button" class="button primary" onClick={() => startVisit(core, { patient_id: id, kind: "SESSION_KIND_TREATMENT" })}>{t("patient.treat")}</button></>}>
      <Faults />
      {line?.whole === false && <p class="message caution row apart"><span>{t("patient.thin_more")}</span><button type="button" class="button" onClick={() => core.hold(id)}>{t("patient.hold")}</button></p>}
      {(line?.alerts ?? []).length > 0 && <ul class="stack tight">{line!.alerts!.map((a) => <li class="message caution"><span class="strong"><span aria-hidden="true">{"\u25b2"}</span> {word("alert", a.kind)}</span> {a.text || a.condition?.replaceAll("_", " ")}</li>)}</ul>}
      <p class="soft">{t(line?.birth?.proof === "BIRTH_PROOF_DOCUMENT" ? "patient.proven" : "patient.unproven")}</p>
      <History history={history.value} />
      <section class="stack tight" aria-label={t("patient.visits")}>
        <h2>{t("patient.visits")}</h2>
        {sessions.length === 0 && <p>{t("patient.no_visits")}</p>}
        <div class="rows">{sessions.map((v) => <VisitLine core={core} view={v} patient={id} />)}</div>
      </section>
      <Caution text={history.value?.caution} />
    </Frame>
  );
}

function VisitLine({ core, view, patient }: { core: Core; view: RecordView; patient: string }) {
  const s = view.record!.session!;
  const products = [...new Set((s.injections ?? []).flatMap((i) => (i.givings ?? []).map((g) => g.given?.dose?.product)).filter(Boolean))];
  return (
    <div class="row">
      <button type="button" class="line grow" onClick={() => go({ screen: "visit", id: s.id!, step: s.kind === "SESSION_KIND_REVIEW" ? "review" : (s.signatures ?? []).length ? "finish" : "screening" })}>
        <span><span class="strong">{dayText(s.on)}</span> {word("kind", s.kind)}</span>
        <span class="soft">{products.join(", ")} {(s.signatures ?? []).length ? `\u2713 ${t("state.signed")}` : t("patient.unsigned")}</span>
      </button>
      {s.kind === "SESSION_KIND_TREATMENT" && products.length > 0 && <button type="button" class="button chart" onClick={() => startVisit(core, { patient_id: patient, kind: "SESSION_KIND_REVIEW", parent: s.id! })}>{t("patient.review")}</button>}
    </div>
  );
}

/** History is what she had of each product, side by side and never summed, with how much is known. */
function History({ history: h }: { history: GetToxinHistoryResponse | undefined }) {
  if (!h) return <p class="soft">{t("history.reading")}</p>;
  return (
    <section class="stack tight" aria-label={t("history.title")}>
      <h2>{t("history.title")}</h2>
      <p class="message">{h.last_of_any ? t("history.last", { day: dayText(h.last_of_any), days: h.days_since_any ?? 0 }) : t("history.none")} {h.unchecked_text}</p>
      <div class="two">{(h.products ?? []).map((p) => (
        <div class="card stack tight">
          <h3 class="product">{p.product}</h3>
          <p>{t("history.last", { day: dayText(p.last_on), days: p.days_since_last ?? 0 })}</p>
          {p.total?.given?.most_units && <p>{t("history.total")} <span class="quantity plain">{p.total.given.least_units === p.total.given.most_units ? quantityText(p.total.given.most_units, "units") : t("state.range", { least: p.total.given.least_units ?? "", most: quantityText(p.total.given.most_units, "units") })}</span></p>}
          <ul class="stack tight">{(p.intervals ?? []).map((i) => (
            <li><details><summary class="button">{i.met ? "\u2713" : "\u25b2"} {t(i.met ? "history.met" : "history.not_met", { day: dayText(i.earliest_on), rule: i.months ? t("history.months", { n: i.months }) : t("history.days", { n: i.days ?? 0 }) })}</summary><Cited source={i.source} /></details></li>
          ))}</ul>
        </div>
      ))}</div>
      <Findings findings={h.findings ?? []} />
      {(h.knowledge ?? []).length > 0 && <ul class="small soft">{h.knowledge!.map((k) => <li>{k.complete_until ? t("history.known", { clinic: k.clinic_name ?? "", time: momentText(k.complete_until) }) : t("history.unknown", { clinic: k.clinic_name ?? "" })}</li>)}</ul>}
    </section>
  );
}
