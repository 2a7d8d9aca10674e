// A line or some lines of words, with a name that stays in sight. What is half typed is kept on the tablet, encrypted, until it is saved or left.

import { useState } from "preact/hooks";
import type { Core } from "../core";

/** useDraft is a text that survives a lock, a turn of the tablet and a crash, under a name such as "visit/ID/note". */
export function useDraft(core: Core, name: string, start = ""): [string, (text: string) => void, () => void] {
  const [text, setText] = useState(() => core.kept(name) || start);
  const keep = (value: string) => { setText(value); void core.keep(name, value); };
  const forget = () => { setText(start); void core.keep(name, ""); };
  return [text, keep, forget];
}

interface FieldProps {
  readonly id: string;
  readonly label: string;
  readonly value: string;
  readonly onInput: (value: string) => void;
  readonly hint?: string;
  readonly wrong?: string | undefined;
  readonly lines?: boolean;
  readonly inputMode?: "text" | "numeric" | "decimal" | "tel" | "search";
  readonly autocomplete?: string;
}

/** Field asks for words. */
export function Field({ id, label, value, onInput, hint, wrong, lines, inputMode, autocomplete }: FieldProps) {
  const common = {
    id, value, "aria-invalid": Boolean(wrong), "aria-describedby": [hint && `${id}-hint`, wrong && `${id}-wrong`].filter(Boolean).join(" ") || undefined,
    onInput: (e: Event) => onInput((e.currentTarget as HTMLInputElement).value), autocomplete: autocomplete ?? "off",
  };
  return (
    <div class="field">
      <label for={id}>{label}</label>
      {hint && <span class="hint" id={`${id}-hint`}>{hint}</span>}
      {lines ? <textarea {...common} /> : <input {...common} type="text" inputMode={inputMode ?? "text"} />}
      {wrong && <span class="wrong" id={`${id}-wrong`}>{wrong}</span>}
    </div>
  );
}
