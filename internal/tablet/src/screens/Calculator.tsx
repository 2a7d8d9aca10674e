// The calculator, without a patient: what a vial makes with a diluent, what a dose is in millilitres, the marks of a plan, and which dilution measures it
// best. It keeps nothing, prescribes nothing, and every answer is the core's.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { PlannedDose, Side, SyringeType } from "../messages";
import { t, word } from "../i18n";
import { useRead } from "../use";
import { Choice } from "../ui/Choice";
import { Findings } from "../ui/Findings";
import { Keypad } from "../ui/Keypad";
import { Quantity } from "../ui/Quantity";
import { mlOf, quantityText, unitsOf } from "../ui/decimal";
import { markText, Syringe } from "../ui/syringe/Syringe";
import { Caution, Frame } from "./Frame";
import { mainRail } from "./Day";
import { Advice } from "./visit/prepare/Advice";

interface Sum { readonly product: string; readonly content: string; readonly diluent: string; readonly code: string; readonly doses: readonly PlannedDose[] }

type Asked = { readonly what: "content" } | { readonly what: "diluent" } | { readonly what: "dose"; readonly side: Side } | null;

/** Calculator is the screen. */
export function Calculator({ core }: { core: Core }) {
  const [sum, setSum] = useState<Sum>({ product: "", content: "", diluent: "", code: "", doses: [] });
  const [asked, setAsked] = useState<Asked>(null);
  const formulary = useRead(core, () => core.formulary(), []).value;
  const products = (formulary?.products ?? []).filter((p) => !p.removed).map((p) => p.value?.name ?? "");
  const syringes = (formulary?.syringes ?? []).filter((e) => !e.removed && e.value).map((e) => e.value!);
  const sizes = [...new Set((formulary?.presentations ?? []).map((p) => p.value).filter((p) => p?.product === sum.product && p.content_milliunits).map((p) => unitsOf(p!.content_milliunits)))];
  const s = syringes.find((x) => x.code === sum.code);
  const type: SyringeType | undefined = s && { code: s.code!, capacity_ml: mlOf(s.capacity_nanoliters), graduation_ml: mlOf(s.graduation_nanoliters), insulin_scale: s.insulin_scale ?? false };
  const set = (part: Partial<Sum>) => setSum({ ...sum, ...part });
  return (
    <Frame core={core} rail={mainRail("calculator")} title={t("calc.title")} head={<strong>{t("calc.no_patient")}</strong>}
      deck={sum.doses.length > 0 ? <button type="button" class="button" onClick={() => set({ doses: [] })}>{t("calc.clear")}</button> : undefined}>
      {asked ? <div class="card marked"><Ask sum={sum} asked={asked} set={set} onLeave={() => setAsked(null)} /></div> : (
        <>
          <Choice legend={t("calc.product")} value={sum.product} onPick={(product) => set({ product, content: "", doses: [] })} options={products.map((value) => ({ value, label: value }))} />
          {sum.product && <Choice legend={t("pack.content")} value={sum.content} onPick={(content) => set({ content })} options={sizes.map((value) => ({ value, label: quantityText(value, "units") }))} />}
          {sum.product && <div class="row"><button type="button" class="button great" onClick={() => setAsked({ what: "content" })}>{sum.content ? <><span class="small">{t("calc.content")}</span> <Quantity value={sum.content} unit="units" /></> : t("calc.content_ask")}</button>
            <button type="button" class="button great" onClick={() => setAsked({ what: "diluent" })}>{sum.diluent ? <><span class="small">{t("calc.diluent")}</span> <Quantity value={sum.diluent} unit="mL" /></> : t("calc.diluent_ask")}</button></div>}
          {sum.product && sum.content && sum.diluent && <Strength core={core} sum={sum} />}
          {sum.product && <Doses sum={sum} onAsk={(side) => setAsked({ what: "dose", side })} onDrop={(ref) => set({ doses: sum.doses.filter((d) => d.ref !== ref) })} />}
          {sum.doses.length > 0 && <Choice legend={t("draw.syringe")} value={sum.code} onPick={(code) => set({ code })} options={syringes.map((x) => ({ value: x.code!, label: x.label ?? x.code! }))} />}
          {sum.doses.length > 0 && type && sum.content && sum.diluent && <Marks core={core} sum={sum} type={type} />}
          {sum.doses.length > 0 && <details class="card flat"><summary class="button chart">{t("prepare.advice")}</summary><Advice core={core} product={sum.product} doses={sum.doses} /></details>}
        </>
      )}
      <Caution />
    </Frame>
  );
}

function Ask({ sum, asked, set, onLeave }: { sum: Sum; asked: Exclude<Asked, null>; set: (part: Partial<Sum>) => void; onLeave: () => void }) {
  const done = (part: Partial<Sum>) => { set(part); onLeave(); };
  if (asked.what === "content") return <Keypad label={t("calc.content_ask")} unit="units" places={3} value={sum.content} range={t("calc.content_range", { product: sum.product })} onDone={(content) => done({ content })} onLeave={onLeave} />;
  if (asked.what === "diluent") return <Keypad key="d" label={t("calc.diluent_ask")} unit="mL" places={6} value={sum.diluent} range={t("mix.range", { units: quantityText(sum.content || "0", "units") })} onDone={(diluent) => done({ diluent })} onLeave={onLeave} />;
  return <Keypad key="n" label={t("calc.dose_ask", { side: word("side", asked.side) })} unit="units" places={3} value="" range={t("editor.units_range", { product: sum.product })}
    onDone={(dose_units) => done({ doses: [...sum.doses, { ref: String(sum.doses.length + 1), dose_units, side: asked.side }] })} onLeave={onLeave} />;
}

function Strength({ core, sum }: { core: Core; sum: Sum }) {
  const read = useRead(core, () => core.prepare({ product: sum.product, vial: { content_units: sum.content, diluent_ml: sum.diluent } }), [sum.product, sum.content, sum.diluent]);
  if (read.error) return <p class="message hold">{(read.error as Error).message}</p>;
  const a = read.value;
  return (
    <section class="card stack tight" aria-label={t("strength.title")}>
      <p><Quantity value={a?.concentration?.units_per_tenth_ml ?? ""} unit="units" size="great" /> <span class="large">{t("strength.per", { volume: quantityText("0.1", "mL") })}</span></p>
      <p>{t(a?.labelled ? "strength.labelled" : "strength.not_labelled")}</p>
      <Findings findings={a?.findings ?? []} />
    </section>
  );
}

function Doses({ sum, onAsk, onDrop }: { sum: Sum; onAsk: (side: Side) => void; onDrop: (ref: string) => void }) {
  return (
    <section class="stack tight" aria-label={t("calc.doses")}>
      <h2>{t("calc.doses")}</h2>
      <ol class="rows">{sum.doses.map((d) => <li class="card row apart"><span><span class="number">{d.ref}</span> {word("side", d.side)} <Quantity value={d.dose_units ?? ""} unit="units" /></span><button type="button" class="button" onClick={() => onDrop(d.ref!)}>{t("calc.drop")}</button></li>)}</ol>
      <div class="row">{(["SIDE_RIGHT", "SIDE_MIDLINE", "SIDE_LEFT"] as const).map((side) => <button type="button" class="button chart" onClick={() => onAsk(side)}>{t("calc.add", { side: word("side", side) })}</button>)}</div>
    </section>
  );
}

function Marks({ core, sum, type }: { core: Core; sum: Sum; type: SyringeType }) {
  const read = useRead(core, () => core.planDraw({ product: sum.product, vial: { content_units: sum.content, diluent_ml: sum.diluent }, syringe: type, doses: [...sum.doses] }), [JSON.stringify(sum)]);
  if (read.error) return <p class="message hold">{(read.error as Error).message}</p>;
  const plan = read.value;
  if (!plan) return null;
  const insulin = type.insulin_scale ?? false;
  return (
    <section class="stack tight" aria-label={t("account.title")}>
      <h2>{t("account.title")}</h2>
      {(plan.syringes ?? []).map((s, n) => (
        <div class="stack tight">
          <p class="large">{t("draw.nth", { nth: n + 1 })}: {t("draw.to")} <span class="quantity">{markText(s.draw_to_ml ?? "", insulin)}</span></p>
          <Syringe capacityMl={type.capacity_ml!} graduationMl={type.graduation_ml!} insulinScale={insulin} markMl={s.drawn_ml ?? "0"} nextMl={s.marks?.[0]?.mark_ml} />
          <table class="lead"><thead><tr><th scope="col">{t("account.injection")}</th><th scope="col">{t("calc.in_ml")}</th><th scope="col">{t("account.mark")}</th><th scope="col">{t("account.gets")}</th></tr></thead>
            <tbody>{(s.marks ?? []).map((m) => <tr><th scope="row"><span class="number">{m.ref}</span></th><td data-label={t("calc.in_ml")}><Quantity value={m.exact_ml ?? ""} unit="mL" />{m.exact_ml_fraction && <span class="soft small"> {t("calc.exactly", { fraction: m.exact_ml_fraction })}</span>}</td><td data-label={t("account.mark")}><span class="mark">{markText(m.mark_ml ?? "", insulin)}</span></td><td data-label={t("account.gets")}><Quantity value={m.delivered_units ?? ""} unit="units" /></td></tr>)}</tbody>
          </table>
        </div>
      ))}
      <Findings findings={plan.findings ?? []} />
    </section>
  );
}
