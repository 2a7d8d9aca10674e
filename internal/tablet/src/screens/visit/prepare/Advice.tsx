// Advice on dilutions: the core's ranked list with its figures. Nothing is chosen for anybody.

import type { Core } from "../../../core";
import type { DilutionOption, PlannedDose } from "../../../messages";
import { t, word } from "../../../i18n";
import { useRead } from "../../../use";
import { Cited, Findings } from "../../../ui/Findings";
import { Quantity } from "../../../ui/Quantity";
import { grouped, quantityText, unitsOf } from "../../../ui/decimal";
import { Caution } from "../../Frame";

/** Advice ranks the dilutions for a plan. */
export function Advice({ core, product, doses }: { core: Core; product: string; doses: readonly PlannedDose[] }) {
  const read = useRead(core, async () => {
    if (!product || doses.length === 0) return null;
    const formulary = await core.formulary();
    const contents = (formulary.presentations ?? []).map((p) => p.value).filter((p) => p?.product === product && p.content_milliunits).map((p) => unitsOf(p!.content_milliunits));
    return core.adviseDilution({ product, contents_units: [...new Set(contents)], doses: [...doses], most_options: 6 });
  }, [product, JSON.stringify(doses)]);
  if (read.error) return <p class="message caution">{String((read.error as Error).message)}</p>;
  if (!read.value) return <p class="card">{t("advice.no_plan")}</p>;
  return (
    <section class="card stack tight" aria-label={t("advice.title")}>
      <h2>{t("advice.title")}</h2>
      <p class="soft">{t("advice.how")}</p>
      <ol class="rows">{(read.value.options ?? []).map((o) => <Option option={o} />)}</ol>
      <p class="soft">{t("advice.shown", { shown: (read.value.options ?? []).length, all: read.value.option_count ?? 0 })}</p>
      <Findings findings={read.value.findings ?? []} />
      <Caution text={read.value.caution} />
    </section>
  );
}

const percent = (text: string | undefined) => (text && grouped(text) !== null ? `${grouped(text)}\u00a0%` : "");

function Option({ option: o }: { option: DilutionOption }) {
  return (
    <li class="card stack tight">
      <p class="row apart">
        <span><span class="number">{o.rank}</span> <span class="large strong">{t("advice.mix", { units: quantityText(o.content_units ?? "", "units"), volume: quantityText(o.diluent_ml || o.liquid_ml || "", "mL") })}</span></span>
        <span class="tag">{word("standing", o.standing)}</span>
      </p>
      <p>{t("advice.makes")} <Quantity value={o.concentration?.units_per_tenth_ml ?? ""} unit="units" /> {t("strength.per", { volume: quantityText("0.1", "mL") })}; {t("advice.syringe", { capacity: quantityText(o.syringe?.capacity_ml ?? "", "mL"), step: quantityText(o.syringe?.graduation_ml ?? "", "mL"), n: o.syringe_count ?? 1 })}</p>
      <dl class="pairs">
        <dt>{t("advice.worst")}</dt><dd>{percent(o.worst_error_percent)}</dd>
        <dt>{t("advice.sides")}</dt><dd>{quantityText(o.side_difference_units ?? "", "units")}</dd>
        <dt>{t("advice.slip")}</dt><dd>{quantityText(o.slip_units ?? "", "units")}</dd>
        <dt>{t("advice.left")}</dt><dd>{quantityText(o.left_units ?? "", "units")}</dd>
      </dl>
      <Findings findings={o.findings ?? []} />
      <details><summary class="button">{t("advice.source")}</summary><Cited source={o.source} /></details>
    </li>
  );
}
