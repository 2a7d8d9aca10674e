// How far each step of a visit is, in a word or two for the rail.

import { t } from "../../i18n";
import { grouped, quantityText } from "../../ui/decimal";
import { count } from "../../ui/Findings";
import type { Step } from "../route";
import { currentRatings, givings, live, pausedNow, syringe } from "./record";
import type { Visit } from "./useVisit";

/** stepState says how far a step is; undefined says nothing. */
export function stepState(visit: Visit, step: Step | "findings" | "review"): string | undefined {
  const s = visit.session;
  switch (step) {
    case "screening": return answered(visit);
    case "consent": return (s.consents ?? []).some((c) => c.signature && !c.withdrawn) ? done(t("state.signed")) : undefined;
    case "photos": return counted((s.photos ?? []).filter((p) => !p.removed).length, "state.photos");
    case "ratings": return counted(currentRatings(s).length, "state.grades");
    case "plan": return planned(visit);
    case "prepare": return vialState(visit);
    case "draw": return syringe(s) ? done(t("state.drawn")) : undefined;
    case "check": return (s.readiness_checks ?? []).length ? done(t("state.checked")) : undefined;
    case "treat": return treated(visit);
    case "finish": return (s.signatures ?? []).length ? done(t("state.signed")) : undefined;
    case "findings": return findings(visit);
    case "review": return undefined;
  }
}

const done = (text: string) => `\u2713 ${text}`;

function counted(n: number, key: "state.photos" | "state.grades"): string | undefined {
  return n ? t(key, { n }) : undefined;
}

function answered(visit: Visit): string | undefined {
  const n = (visit.session.screening ?? []).filter((a) => !a.void && a.answer && (!a.carried || a.carried.confirmed)).length;
  return n ? done(t("state.answers", { n })) : undefined;
}

function planned(visit: Visit): string | undefined {
  const span = visit.check?.totals?.[0]?.planned;
  if (!span?.most_units || grouped(span.most_units) === null) return undefined;
  return span.least_units === span.most_units ? quantityText(span.most_units, "units") : t("state.range", { least: span.least_units ?? "?", most: quantityText(span.most_units, "units") });
}

function vialState(visit: Visit): string | undefined {
  return syringe(visit.session)?.filling?.vial_id ? done(t("state.mixed")) : undefined;
}

function treated(visit: Visit): string | undefined {
  const all = live(visit.session);
  if (all.length === 0) return undefined;
  const given = all.filter((i) => givings(i).length).length;
  const text = t("state.of", { given, all: all.length });
  return pausedNow(visit.session) ? `\u2016 ${text}` : given === all.length ? done(text) : text;
}

function findings(visit: Visit): string | undefined {
  const n = count(visit.check?.findings ?? []);
  if (n.hold) return `\u25a0 ${t("state.holds", { n: n.hold })}`;
  return n.caution ? `\u25b2 ${t("state.cautions", { n: n.caution })}` : undefined;
}
