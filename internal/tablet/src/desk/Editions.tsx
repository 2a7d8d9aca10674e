// Formulary editions and protocols, to read: what is published, and what differs between two editions.

import { useState } from "preact/hooks";
import type { Core } from "../core";
import type { FormularyEdition, ListRecordsResponse, Protocol, RecordView } from "../messages";
import { momentText, t, word } from "../i18n";
import { valueText } from "../screens/value";
import { useRead } from "../use";
import { usePages } from "./call";
import { More, Select, State, Table, useNames } from "./parts";

/** Editions is the screen. */
export function Editions({ core }: { core: Core }) {
  const names = useNames(core);
  const editions = usePages<ListRecordsResponse, RecordView>(core, "chart/ListRecords", { kind: "RECORD_KIND_FORMULARY_EDITION", page_size: 100 }, (a) => a.views, []);
  const protocols = usePages<ListRecordsResponse, RecordView>(core, "chart/ListRecords", { kind: "RECORD_KIND_PROTOCOL", page_size: 100 }, (a) => a.views, []);
  const used = useRead(core, () => core.formulary(), []).value;
  const known = editions.rows.map((v) => v.record?.formulary_edition).filter((e): e is FormularyEdition => Boolean(e));
  const all = used && !known.some((e) => e.version === used.version) ? [used, ...known] : known;
  const written = protocols.rows.map((v) => v.record?.protocol).filter((p): p is Protocol => Boolean(p));
  return (
    <>
      <section class="stack tight"><h2>{t("editions.title")}</h2>
        <State asked={editions} />
        <Table caption={t("editions.title")} empty={t("editions.none")} heads={[t("editions.name"), t("editions.base"), t("editions.published"), t("orders.state")]} rows={all.map((e) => [
          nameOf(e), e.base?.version ?? "", e.published ? `${momentText(e.published.published?.at)}, ${names.staff(e.published.published?.by)}` : "",
          e.withdrawn ? t("orders.withdrawn", { reason: e.withdrawn.reason ?? "" }) : e === used || e.version === used?.version ? `\u2713 ${t("editions.in_use")}` : e.published ? t("editions.is_published") : t("orders.draft")])} />
        <More more={editions.more} busy={editions.busy} /></section>
      {all.length > 1 ? <Differences all={all} /> : <p class="soft">{t("editions.one")}</p>}
      <section class="stack tight"><h2>{t("editions.protocols")}</h2>
        <State asked={protocols} />
        {protocols.value && <Table caption={t("editions.protocols")} empty={t("editions.protocols_none")} heads={[t("editions.name"), t("figures.product"), t("figures.region"), t("editions.points"), t("orders.state")]} rows={written.map((p) => [
          `${p.title ?? ""} ${p.version ?? ""}`, p.scope?.product ?? "", (p.scope?.regions ?? []).map((r) => word("region", r)).join(", "), (p.points ?? []).length,
          p.withdrawn ? t("orders.withdrawn", { reason: p.withdrawn.reason ?? "" }) : p.published ? `\u2713 ${momentText(p.published.published?.at)}` : t("orders.draft")])} />}
        <More more={protocols.more} busy={protocols.busy} /></section>
    </>
  );
}

const nameOf = (e: FormularyEdition) => [e.label, e.version].filter(Boolean).join(", ") || t("desk.unnamed");

/** An entry of a table of an edition. */
interface Entry { readonly id?: string; readonly value?: { readonly code?: string; readonly name?: string }; readonly removed?: unknown }

/** entries are an edition's, by its table and the code that an entry has. */
function entries(e: FormularyEdition): Map<string, string> {
  const out = new Map<string, string>();
  for (const [table, list] of Object.entries(e)) {
    if (!Array.isArray(list) || ["notes", "settlements"].includes(table)) continue;
    for (const x of list as Entry[]) if (x.value && !x.removed) out.set(`${table.replaceAll("_", " ")}: ${x.value.code ?? x.value.name ?? x.id ?? ""}`, JSON.stringify(x.value));
  }
  return out;
}

function Differences({ all }: { all: readonly FormularyEdition[] }) {
  const options = all.map((e, i) => [String(i), nameOf(e)] as const);
  const [a, setA] = useState("0");
  const [b, setB] = useState("1");
  const left = entries(all[Number(a)] ?? {}), right = entries(all[Number(b)] ?? {});
  const unlike = [...new Set([...left.keys(), ...right.keys()])].filter((k) => left.get(k) !== right.get(k)).sort();
  return (
    <section class="stack tight"><h2>{t("editions.diff")}</h2>
      <div class="two"><Select id="edition-a" label={t("editions.first")} value={a} options={options} onPick={setA} /><Select id="edition-b" label={t("editions.second")} value={b} options={options} onPick={setB} /></div>
      <p role="status">{t("editions.unlike", { n: unlike.length })}</p>
      <Table caption={t("editions.diff")} empty={t("editions.same")} heads={[t("editions.entry"), t("editions.first"), t("editions.second")]}
        rows={unlike.map((k) => [k, left.has(k) ? valueText(left.get(k)!) : t("editions.absent"), right.has(k) ? valueText(right.get(k)!) : t("editions.absent")])} />
    </section>
  );
}
