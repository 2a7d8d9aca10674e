// Draw up: the syringe to scale, to which mark, change the needle, prime; and what each injection will get.

import { useState } from "preact/hooks";
import type { PlanDrawResponse, SyringePlan, SyringeType } from "../../messages";
import { t, word } from "../../i18n";
import { Choice } from "../../ui/Choice";
import { Findings } from "../../ui/Findings";
import { Quantity } from "../../ui/Quantity";
import { grouped, mlOf, nanoliters, quantityText, scaled } from "../../ui/decimal";
import { markText, Syringe } from "../../ui/syringe/Syringe";
import { Caution } from "../Frame";
import { useProduct } from "./Plan";
import { act, differenceMl, live } from "./record";
import { useDraw } from "./useDraw";
import { useVial } from "./useVial";
import { attempt, type Visit } from "./useVisit";
import type { StepProps } from "./Visit";

/** primings are what may be pushed out after the needle change, in millilitres; which one is the injector's to say. */
const primings = ["0", "0.01", "0.02", "0.05"] as const;

/** useSyringeType is the type of syringe of this visit, of those in the formulary, and how to pick another. */
export function useSyringeType(visit: Visit): { types: SyringeType[]; type: SyringeType | undefined; labels: ReadonlyMap<string, string>; pick: (code: string) => void } {
  const name = `visit/${visit.session.id}/syringe`;
  const [picked, setPicked] = useState(() => visit.core.kept(name));
  const drawn = (visit.session.syringes ?? []).filter((s) => !s.void).at(-1)?.filling?.syringe_code;
  const entries = (visit.formulary?.syringes ?? []).filter((e) => !e.removed && e.value).map((e) => e.value!);
  const types = entries.map((s): SyringeType => ({ code: s.code ?? "", capacity_ml: mlOf(s.capacity_nanoliters), graduation_ml: mlOf(s.graduation_nanoliters), insulin_scale: s.insulin_scale ?? false,
    ...(s.dead_space_nanoliters ? { dead_space_ml: mlOf(s.dead_space_nanoliters) } : {}) }));
  return { types, type: types.find((x) => x.code === (drawn ?? picked)), labels: new Map(entries.map((s) => [s.code ?? "", s.label ?? s.code ?? ""])), pick: (code) => { setPicked(code); void visit.core.keep(name, code); } };
}

/** usePriming is what is pushed out for each syringe, as it was said on this tablet. */
export function usePriming(visit: Visit): [string, (ml: string) => void] {
  const name = `visit/${visit.session.id}/priming`;
  const [ml, set] = useState(() => visit.core.kept(name) || "0");
  return [ml, (to) => { set(to); void visit.core.keep(name, to); }];
}

/** Draw is the step. */
export function Draw({ visit, layout }: StepProps) {
  const product = useProduct(visit), vial = useVial(visit);
  const { types, type, labels, pick } = useSyringeType(visit);
  const [priming, setPriming] = usePriming(visit);
  const read = useDraw(visit, product, vial.content, type, priming);
  const drawn = (visit.session.syringes ?? []).filter((s) => !s.void).length;
  const plan = read.value?.plan;
  const next = plan?.syringes?.filter((s) => !s.continued)[read.value?.resumed ? 0 : drawn];
  return layout({
    title: t("draw.title"),
    deck: (
      <>
        {next && type && <button type="button" class="button primary" onClick={() => record(visit, vial, type, next, product)}>{t("draw.done")}</button>}
        {!next && <button type="button" class="button primary" onClick={() => visit.show("check")}>{t("draw.next")}</button>}
      </>
    ),
    body: (
      <>
        <Choice legend={t("draw.syringe")} value={type?.code} onPick={pick} options={types.map((s) => ({ value: s.code!, label: labels.get(s.code!) ?? s.code! }))} />
        <Choice legend={t("draw.priming")} value={priming} onPick={setPriming} options={primings.map((value) => ({ value, label: value === "0" ? t("draw.no_priming") : quantityText(value, "mL") }))} />
        {!vial.content && <p class="message caution">{t("draw.no_vial")}</p>}
        {read.error !== undefined && <p class="message hold">{(read.error as Error).message}</p>}
        {next && type && <Filling plan={next} type={type} product={product} nth={drawn + 1} of={plan?.syringes?.length ?? 1} />}
        {!next && drawn > 0 && <p class="message large">{t("draw.all_drawn")}</p>}
        {plan && type && <Account visit={visit} plan={plan} insulin={type.insulin_scale ?? false} />}
      </>
    ),
  });
}

/** Filling is one syringe to draw: three acts, each with its mark. */
function Filling({ plan, type, product, nth, of }: { plan: SyringePlan; type: SyringeType; product: string; nth: number; of: number }) {
  const insulin = type.insulin_scale ?? false;
  const primed = plan.draw_to_ml !== plan.drawn_ml;
  return (
    <section class="stack tight" aria-label={t("draw.filling", { nth, of })}>
      <h2>{t("draw.filling", { nth, of })}</h2>
      <p class="product">{product}</p>
      <Syringe capacityMl={type.capacity_ml ?? "1"} graduationMl={type.graduation_ml ?? "0.01"} insulinScale={insulin} markMl={plan.draw_to_ml ?? "0"} {...(primed ? { nextMl: plan.drawn_ml } : {})} />
      <ol class="acts">
        <li><span>{t("draw.to")}</span> <span class="mark">{markText(plan.draw_to_ml ?? "", insulin)}</span></li>
        <li><span>{t("draw.change_needle")}</span></li>
        {primed && <li><span>{t("draw.prime_to")}</span> <span class="mark">{markText(plan.drawn_ml ?? "", insulin)}</span></li>}
      </ol>
    </section>
  );
}

/** Account is what each injection gets beside what was planned, and each side; rounding alone, as the core reckons it. */
function Account({ visit, plan, insulin }: { visit: Visit; plan: PlanDrawResponse; insulin: boolean }) {
  const all = live(visit.session);
  const numbers = new Map(all.map((i, n) => [i.id!, n + 1]));
  const of = (ref: string | undefined) => all.find((i) => i.id === ref);
  return (
    <section class="stack tight" aria-label={t("account.title")}>
      <h2>{t("account.title")}</h2>
      <table class="lead">
        <thead><tr><th scope="col">{t("account.injection")}</th><th scope="col">{t("account.mark")}</th><th scope="col">{t("account.gets")}</th><th scope="col">{t("account.off")}</th></tr></thead>
        <tbody>{(plan.syringes ?? []).flatMap((s) => s.marks ?? []).map((m) => {
          const i = of(m.ref);
          return (
            <tr>
              <th scope="row"><span class="number">{numbers.get(m.ref ?? "")}</span> {word("side", i?.side)}, {word("muscle", i?.muscle)}</th>
              <td data-label={t("account.mark")}><span class="mark">{markText(m.mark_ml ?? "", insulin)}</span></td>
              <td data-label={t("account.gets")}><Quantity value={m.delivered_units ?? ""} unit="units" /></td>
              <td data-label={t("account.off")} class="nowrap">{off(m.error_units, m.error_percent)}</td>
            </tr>
          );
        })}</tbody>
      </table>
      <ul class="stack tight">{(plan.sides ?? []).map((s) => <li>{word("side", s.side)}: {t("account.side", { planned: quantityText(s.planned?.dose_units ?? "", "units"), gets: quantityText(s.delivered_units ?? "", "units") })}</li>)}</ul>
      <p>{t("account.vial", { needed: quantityText(plan.vial?.needed_ml ?? "", "mL"), units: quantityText(plan.vial?.needed_units ?? "", "units"), left: quantityText(plan.vial?.left_units ?? "", "units") })}</p>
      <p class="soft small">{t("account.rounding", { side: quantityText(plan.rounding?.side_units ?? "", "units") })}</p>
      <Findings findings={plan.findings ?? []} />
      <Caution text={plan.caution} />
    </section>
  );
}

/** off is an error with its sign in words of arithmetic: "+0.1 units (4 %)"; nothing where there is none. */
function off(units: string | undefined, percent: string | undefined): string {
  if (!units || units === "0") return t("account.none");
  const sign = units.startsWith("-") ? "" : "+";
  return `${sign}${quantityText(units, "units")}${percent && grouped(percent) !== null ? ` (${grouped(percent)}\u00a0%)` : ""}`;
}

/** record writes the syringe into the visit and the draw into the vial's account. What left the vial in units the core reckons, as that of a step of this size. */
async function record(visit: Visit, vial: ReturnType<typeof useVial>, type: SyringeType, plan: SyringePlan, product: string) {
  const { core, session } = visit;
  const by = act(core.person.value.staff_id), id = core.newId(), drawId = core.newId(), entryId = core.newId();
  const preparation_id = vial.preparation?.id;
  const priming = differenceMl(plan.draw_to_ml ?? "0", plan.drawn_ml ?? "0");
  await attempt(async () => {
    const amount = await core.prepare({ product, vial: vial.content!, graduation_ml: plan.draw_to_ml! });
    const units = scaled(amount.units_per_graduation ?? "", 3);
    await core.edit({
      record: { session: { id: session.id!, syringes: [{ id, drawn: by,
        filling: { syringe_code: type.code!, capacity_nanoliters: nanoliters(type.capacity_ml!)!, graduation_nanoliters: nanoliters(type.graduation_ml!)!, vial_id: vial.vial!.id!,
          ...(preparation_id ? { preparation_id } : {}), drawn_nanoliters: nanoliters(plan.drawn_ml!)! },
        priming: { needle_changed: true, primed_nanoliters: nanoliters(priming)!, done: by } }] } },
      update_mask: [`syringes[${id}]`], ...(visit.view.context ? { context: visit.view.context } : {}),
    });
    await core.edit({
      record: { vial: { id: vial.vial!.id!, draws: [{ id: drawId, drawn: by, amount: { session_id: session.id!, ...(preparation_id ? { preparation_id } : {}), syringe_id: id, syringe_code: type.code!,
        volume_nanoliters: nanoliters(plan.draw_to_ml!)!, ...(units ? { dose_milliunits: Number(units) } : {}) } }],
        entries: [{ id: entryId, piercing: { session_id: session.id!, sterile: true, done: by } }] } },
      update_mask: [`draws[${drawId}]`, `entries[${entryId}]`], ...(vial.view?.context ? { context: vial.view.context } : {}),
    });
  });
}
