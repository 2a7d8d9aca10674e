// The frame of the shell's own screens, and a form that says what went wrong where it was typed.

import type { ComponentChildren } from "preact";
import { useState } from "preact/hooks";
import { CoreError } from "../core";

/** Page is one of the shell's own screens. */
export function Page({ title, name, children }: { title: string; name: string; children: ComponentChildren }) {
  return (
    <div class="app bare">
      <main class="page stack shell" data-screen={name}>
        <h1>{title}</h1>
        {children}
      </main>
    </div>
  );
}

/** Form asks for something and does it; what goes wrong is said below it, and what was typed stays. */
export function Form({ action, busyText, run, children }: { action: string; busyText: string; run: () => Promise<void>; children: ComponentChildren }) {
  const [busy, setBusy] = useState(false);
  const [wrong, setWrong] = useState("");
  const submit = async (e: Event) => {
    e.preventDefault();
    if (busy) return;
    setBusy(true);
    setWrong("");
    try {
      await run();
    } catch (cause) {
      setWrong(textOf(cause));
    }
    setBusy(false);
  };
  return (
    <form class="card stack" onSubmit={submit} noValidate>
      {children}
      {wrong && <p class="message hold" role="alert">{wrong}</p>}
      <button class="button primary" type="submit" aria-disabled={busy}>{busy ? busyText : action}</button>
    </form>
  );
}

/** textOf is what went wrong, and what to do. */
export function textOf(cause: unknown): string {
  if (cause instanceof CoreError) return cause.faults.map((f) => `${f.text}. ${f.fix}`).join(" ");
  return cause instanceof Error && cause.message ? cause.message : "Something went wrong. Nothing was changed.";
}

interface InputProps {
  id: string;
  label: string;
  value: string;
  onInput: (value: string) => void;
  hint?: string;
  type?: "text" | "password";
  inputMode?: "text" | "numeric";
  autocomplete?: string;
}

/** Input asks for one line. */
export function Input({ id, label, value, onInput, hint, type = "text", inputMode = "text", autocomplete = "off" }: InputProps) {
  const common = {
    id, inputMode, autocomplete, value, "aria-describedby": hint ? `${id}-hint` : undefined,
    onInput: (e: Event) => onInput((e.currentTarget as HTMLInputElement).value),
  };
  return (
    <div class="field">
      <label for={id}>{label}</label>
      {hint && <span class="hint" id={`${id}-hint`}>{hint}</span>}
      {type === "password" ? <input {...common} type="password" /> : <input {...common} type="text" />}
    </div>
  );
}
