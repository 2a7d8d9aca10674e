// Figures of a clinic's work as the server draws them, and the numbers behind each drawing as a table.

import { useEffect, useState } from "preact/hooks";
import type { Core } from "../core";
import type { FigurePlot, FigureStep, GetFiguresResponse } from "../messages";
import { dayText, momentText, t, word } from "../i18n";
import { Choice } from "../ui/Choice";
import { today } from "../screens/today";
import { useAsked } from "./call";
import { DayField, Select, shift, span, State, Table, useNames, useRoles } from "./parts";

const plots = ["FIGURE_PLOT_UNITS", "FIGURE_PLOT_RATES", "FIGURE_PLOT_INTERVALS"] as const satisfies readonly FigurePlot[];
const steps = ["FIGURE_STEP_WEEK", "FIGURE_STEP_MONTH", "FIGURE_STEP_YEAR"] as const satisfies readonly FigureStep[];

/** Figures is the screen. An injector is shown her own figures, the lead and the auditor everybody's. */
export function Figures({ core }: { core: Core }) {
  const names = useNames(core);
  const roles = useRoles(core), own = !roles.includes("ROLE_MEDICAL_LEAD") && !roles.includes("ROLE_AUDITOR");
  const [clinic, setClinic] = useState("");
  const [from, setFrom] = useState(shift(today(), -365));
  const [until, setUntil] = useState(today());
  const [plot, setPlot] = useState<(typeof plots)[number]>("FIGURE_PLOT_UNITS");
  const [step, setStep] = useState<(typeof steps)[number]>("FIGURE_STEP_MONTH");
  const request = { from, until, step, ...(clinic ? { clinic_id: clinic } : {}), ...(own ? { injector_id: core.person.value.staff_id } : {}) };
  const deps = [JSON.stringify(request)];
  const drawn = useAsked<GetFiguresResponse>(core, "trace/GetFigures", { ...request, form: "FIGURE_FORM_SVG", plot }, [plot, ...deps]);
  const data = useAsked<GetFiguresResponse>(core, "trace/GetFigures", { ...request, form: "FIGURE_FORM_DATA" }, deps);
  return (
    <>
      <Select id="figures-clinic" label={t("desk.clinic")} value={clinic} options={[["", t("desk.all_clinics")], ...names.clinics]} onPick={setClinic} />
      <div class="two"><DayField id="figures-from" label={t("figures.from")} value={from} onPick={setFrom} /><DayField id="figures-until" label={t("figures.until")} value={until} onPick={setUntil} /></div>
      <Choice legend={t("figures.plot")} options={plots.map((value) => ({ value, label: word("plot", value) }))} value={plot} onPick={setPlot} />
      {plot === "FIGURE_PLOT_UNITS" && <Choice legend={t("figures.step")} options={steps.map((value) => ({ value, label: word("plotstep", value) }))} value={step} onPick={setStep} />}
      {own && <p>{t("figures.own")}</p>}
      <State asked={drawn} />
      {drawn.value?.file?.data && <Plot data={drawn.value.file.data} name={word("plot", plot)} />}
      {data.trouble.length > 0 && <State asked={data} />}
      {data.value && <Numbers plot={plot} figures={data.value} />}
      {data.value && <p class="soft">{t("desk.as_of", { time: momentText(data.value.as_of) })}{data.value.in_conflict ? ` ${t("figures.in_conflict", { n: data.value.in_conflict })}` : ""}</p>}
    </>
  );
}

/** Plot shows a drawing of the server's as an image, in which no script can run. It is drawn on white. */
function Plot({ data, name }: { data: string; name: string }) {
  const [url, setUrl] = useState("");
  useEffect(() => {
    const made = URL.createObjectURL(new Blob([Uint8Array.from(atob(data), (c) => c.charCodeAt(0))], { type: "image/svg+xml" }));
    setUrl(made);
    return () => URL.revokeObjectURL(made);
  }, [data]);
  return url ? <div role="group" aria-label={name} tabIndex={0} style={{ overflowX: "auto", background: "#fff", borderRadius: "var(--radius)" }}><img src={url} alt={t("figures.alt", { name })} style={{ display: "block", width: "100%", minWidth: "36rem", height: "auto" }} /></div> : null;
}

function Numbers({ plot, figures: f }: { plot: FigurePlot; figures: GetFiguresResponse }) {
  const caption = word("plot", plot), empty = t("figures.none");
  if (plot === "FIGURE_PLOT_RATES") {
    return <Table caption={caption} empty={empty} heads={[t("figures.region"), t("figures.treatments"), t("figures.touched_up"), t("figures.reviewed"), t("figures.unlike")]}
      rows={(f.rates ?? []).map((r) => [word("region", r.region), r.treatments ?? 0, percent(r.touched_up, r.touched_up_percent), r.reviewed ?? 0, percent(r.unlike, r.unlike_percent)])} />;
  }
  if (plot === "FIGURE_PLOT_INTERVALS") {
    return <Table caption={caption} empty={empty} heads={[t("figures.product"), t("figures.count"), t("figures.least"), t("figures.median"), t("figures.most")]}
      rows={(f.intervals ?? []).map((r) => [r.product, r.count ?? 0, t("figures.days", { n: r.least_days ?? 0 }), t("figures.days", { n: r.median_days ?? 0 }), t("figures.days", { n: r.most_days ?? 0 })])} />;
  }
  return (
    <details><summary class="button">{t("figures.numbers")}</summary>
      <Table caption={caption} empty={empty} heads={[t("figures.since"), t("figures.product"), t("figures.muscle"), t("close.given"), t("close.visits")]}
        rows={(f.units ?? []).map((u) => [dayText(u.step_from), u.product, `${word("muscle", u.muscle)}${u.side ? `, ${word("side", u.side)}` : ""}`, span(u.dose), u.sessions ?? 0])} />
    </details>
  );
}

const percent = (n: number | undefined, p: string | undefined) => (p ? t("figures.percent", { n: n ?? 0, percent: p }) : (n ?? 0));
