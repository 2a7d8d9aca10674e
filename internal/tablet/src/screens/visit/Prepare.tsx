// Prepare: which vial, what is in it, and until when. A pack is scanned or typed; the dilution is what was added, and the core says what that makes.

import { useState } from "preact/hooks";
import { dayText, momentText, t, word } from "../../i18n";
import { useRead } from "../../use";
import { Cited, Findings } from "../../ui/Findings";
import { Quantity } from "../../ui/Quantity";
import { mlOf, quantityText, unitsOf } from "../../ui/decimal";
import type { PrepareResponse, RecordView, Vial } from "../../messages";
import { Caution } from "../Frame";
import { Advice } from "./prepare/Advice";
import { Mix } from "./prepare/Mix";
import { Pack } from "./prepare/Pack";
import { useProduct } from "./Plan";
import { live, preparation } from "./record";
import { contentOf, useVial } from "./useVial";
import type { StepProps } from "./Visit";

/** Prepare is the step. */
export function Prepare({ visit, layout }: StepProps) {
  const product = useProduct(visit);
  const now = useVial(visit);
  const [open, setOpen] = useState<"pack" | "advice" | null>(null);
  const answer = useRead(visit.core, async () => (now.content && product ? visit.core.prepare({ product, vial: now.content, ...(now.preparation?.mixed?.at ? { mixed_at: now.preparation.mixed.at } : {}) }) : null),
    [product, JSON.stringify(now.content), now.preparation?.mixed?.at]).value;
  return layout({
    title: t("prepare.title"),
    deck: (
      <>
        <button type="button" class="button" aria-expanded={open === "pack"} onClick={() => setOpen(open === "pack" ? null : "pack")}>{t("prepare.pack")}</button>
        <button type="button" class="button" aria-expanded={open === "advice"} onClick={() => setOpen(open === "advice" ? null : "advice")}>{t("prepare.advice")}</button>
        <button type="button" class="button primary" onClick={() => visit.show("draw")}>{t("prepare.next")}</button>
      </>
    ),
    body: (
      <>
        <p class="product">{product || t("plan.no_product")}</p>
        {open === "pack" && <Pack visit={visit} product={product} onMade={(id) => { now.pick(id); setOpen(null); }} />}
        {open === "advice" && <Advice core={visit.core} product={product} doses={live(visit.session).filter((i) => i.planned).map((i) => ({ ref: i.id!, dose_units: unitsOf(i.planned!.dose_milliunits), ...(i.side ? { side: i.side } : {}), ...(i.muscle ? { muscle: i.muscle } : {}) }))} />}
        {now.vial && now.view && !now.content && <Mix key={now.vial.id} visit={visit} view={now.view} product={product} />}
        <Vials visit={visit} product={product} picked={now.vial?.id} onPick={now.pick} />
        {now.vial && answer && <Strength answer={answer} vial={now.vial} />}
      </>
    ),
  });
}

/** open are the vials of the product that are not used up, blocked or void; the guardrails judge the one that is picked. */
const openVials = (views: readonly RecordView[], product: string) =>
  views.map((v) => v.record?.vial).filter((v): v is Vial => Boolean(v && !v.void && !v.discarded && (!product || v.presentation?.product === product)));

function Vials({ visit, product, picked, onPick }: { visit: StepProps["visit"]; product: string; picked: string | undefined; onPick: (id: string) => void }) {
  const clinic = visit.session.clinic_id;
  const views = useRead(visit.core, () => visit.core.list({ kind: "RECORD_KIND_VIAL", ...(clinic ? { clinic_id: clinic } : {}) }), [clinic]).value ?? [];
  const vials = openVials(views, product);
  return (
    <section class="stack tight" aria-label={t("prepare.vials")}>
      <h2>{t("prepare.vials")}</h2>
      {vials.length === 0 && <p>{t("prepare.no_vial")}</p>}
      <div class="rows">{vials.map((v) => <VialLine vial={v} picked={v.id === picked} onPick={() => onPick(v.id!)} />)}</div>
    </section>
  );
}

function VialLine({ vial, picked, onPick }: { vial: Vial; picked: boolean; onPick: () => void }) {
  const content = vial.presentation?.content_milliunits;
  const mixed = preparation(vial);
  return (
    <button type="button" class="line pick" aria-pressed={picked} onClick={onPick}>
      <span class="stack tight" style={{ gap: 0 }}>
        <span class="name">{picked ? "\u25c9" : "\u25ce"} {vial.short_number ? t("vial.number", { number: vial.short_number }) : t("vial.unnumbered")}</span>
        <span><span class="product">{vial.presentation?.product}</span> {content ? <Quantity value={unitsOf(content)} unit="units" size="plain" /> : t("vial.no_content")}</span>
        <span class="soft">{t("vial.lot", { lot: vial.labelling?.lot_number ?? t("word.none"), day: dayText(vial.labelling?.expires_on) })}</span>
      </span>
      <span class="soft">{mixed?.diluent?.volume_nanoliters
        ? t("vial.mixed", { volume: quantityText(mlOf(mixed.diluent.volume_nanoliters), "mL"), time: momentText(mixed.mixed?.at) }) : vial.presentation?.liquid_nanoliters ? t("vial.liquid") : t("vial.dry")}</span>
    </button>
  );
}

/** Strength is what the vial holds now, as an amount in a volume and never as a ratio. */
function Strength({ answer, vial }: { answer: PrepareResponse; vial: Vial }) {
  const content = contentOf(vial);
  const volume = content?.diluent_ml ?? content?.liquid_ml ?? "";
  const useBy = preparation(vial)?.use_by?.until ?? answer.use_by;
  return (
    <section class="card stack tight" aria-label={t("strength.title")}>
      <h2>{t("strength.title")}</h2>
      <p><Quantity value={answer.concentration?.units_per_tenth_ml ?? ""} unit="units" size="great" /> <span class="large">{t("strength.per", { volume: quantityText("0.1", "mL") })}</span></p>
      <p class="large">{t("strength.whole", { units: quantityText(content?.content_units ?? "", "units"), volume: quantityText(volume, "mL") })}</p>
      <p class={useBy ? "large" : "message caution"}>{useBy ? t("strength.use_by", { time: momentText(useBy) }) : t("strength.no_use_by")}</p>
      <p>{t(answer.labelled ? "strength.labelled" : "strength.not_labelled")}</p>
      <details class="card flat">
        <summary class="button">{t("strength.statements")}</summary>
        <ul class="stack tight">{(answer.statements ?? []).map((s) => (
          <li>
            <p>{word("standing", s.standing)}{s.market ? `, ${s.market}` : ""}: {s.printed_units ? t("strength.printed", { units: quantityText(s.printed_units, "units"), volume: quantityText(s.printed_ml ?? "", "mL"), exact: quantityText(s.exact_units ?? "", "units") }) : t("strength.not_printed")}</p>
            <Cited source={s.source} />
          </li>
        ))}</ul>
      </details>
      <Findings findings={answer.findings ?? []} />
      <Caution text={answer.caution} />
    </section>
  );
}
