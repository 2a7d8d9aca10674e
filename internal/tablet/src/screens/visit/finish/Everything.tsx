// Every value of the record that is signed, line by line as it is written. Nobody has to trust a summary.

import type { Session } from "../../../messages";
import { t } from "../../../i18n";

/** leaves are the values of a record with where they stand, in the record's own order. */
export function leaves(value: unknown, path = ""): [path: string, text: string][] {
  if (value === null || value === undefined) return [];
  if (Array.isArray(value)) return value.flatMap((v, n) => leaves(v, `${path} ${n + 1}`));
  if (typeof value === "object") return Object.entries(value).flatMap(([k, v]) => leaves(v, path ? `${path} \u203a ${k}` : k));
  return [[path, String(value)]];
}

/** Everything lists the record. */
export function Everything({ session }: { session: Session }) {
  return (
    <section class="card stack tight" aria-label={t("finish.everything")}>
      <h2>{t("finish.everything")}</h2>
      <dl class="everything small">{leaves(session).map(([path, text]) => <div><dt class="soft">{path.replaceAll("_", " ")}</dt><dd>{text}</dd></div>)}</dl>
    </section>
  );
}
