// The keypad for numbers: keys of 88 px and more, a field that a hardware keyboard may type into, and text all the way. It offers no arrows and no wheel,
// so that nothing changes a dose in passing. What is typed is kept as typed until it is a plain decimal; what it means, the core says.

import { useState } from "preact/hooks";
import { t, type Key } from "../i18n";
import { grouped, quantityText, type Unit } from "./decimal";

export interface KeypadProps {
  /** What is asked, such as "Units, Mentalis, left". */
  readonly label: string;
  readonly unit: Unit;
  /** The value as it stands, a plain decimal or empty. */
  readonly value: string;
  /** The most decimals that can be typed. */
  readonly places: number;
  /** The allowed range in words, such as "0.1 to 50 units"; shown before anything is wrong. */
  readonly range: string;
  /** True lets a minus be typed, for a place right of the midline or below the origin. */
  readonly signed?: boolean;
  /** A sentence on why the value may not be kept; undefined when it may. The screen asks the core. */
  readonly check?: (value: string) => string | undefined;
  readonly onDone: (value: string) => void;
  readonly onLeave: () => void;
}

/** typed is the text after a key; keys that would make it no decimal do nothing. */
export function typed(text: string, key: string, places: number): string {
  if (key === "back") return text.slice(0, -1);
  if (key === "clear") return "";
  if (key === "sign") return text.startsWith("-") ? text.slice(1) : `-${text}`;
  const sign = text.startsWith("-") ? "-" : "";
  const size = text.slice(sign.length);
  if (key === ".") return size.includes(".") || places === 0 ? text : `${sign}${size || "0"}.`;
  if (size === "0") return sign + key;
  if ((size.split(".")[1] ?? "").length >= places && size.includes(".")) return text;
  return size.length >= 9 ? text : text + key;
}

/** plainly is what was typed as a plain decimal: a closing point and closing zeros of a fraction are left off. null when it is none. */
export function plainly(text: string): string | null {
  const cut = text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
  return grouped(cut) === null ? null : cut === "-0" ? "0" : cut;
}

/** wrongNumber says why a text is no number for us; undefined when it is one. A comma is never guessed at: it divides thousands in one country and
    decimals in another. */
export function wrongNumber(text: string, places: number): Key | undefined {
  if (text === "") return "number.empty";
  if (text.includes(",")) return "number.comma";
  const plain = plainly(text);
  if (plain === null) return "number.unreadable";
  return (plain.split(".")[1] ?? "").length > places ? "number.places" : undefined;
}

/** Keypad asks for a number. */
export function Keypad(props: KeypadProps) {
  const [text, setText] = useState(props.value);
  const [tried, setTried] = useState(false);
  const [fresh, setFresh] = useState(true);
  const reason = wrongNumber(text, props.places);
  const wrong = reason ? t(reason, { read: text, places: props.places }) : props.check?.(plainly(text)!);
  const press = (key: string) => {
    setText(fresh && /^[0-9.]$/.test(key) ? typed("", key, props.places) : typed(text, key, props.places));
    setFresh(false);
  };
  const done = () => (wrong ? setTried(true) : props.onDone(plainly(text)!));
  const shown = (tried || reason === "number.comma") && wrong;
  return (
    <form class="keypad" aria-label={props.label} onSubmit={(e) => { e.preventDefault(); done(); }} onKeyDown={(e) => e.key === "Escape" && props.onLeave()}>
      <div class="keypad-read">
        <label for="keypad-field">{props.label}</label>
        <input id="keypad-field" type="text" inputMode="none" autocomplete="off" value={text} aria-invalid={Boolean(shown)} aria-describedby="keypad-range keypad-wrong"
          onInput={(e) => { setText(e.currentTarget.value.trim()); setFresh(false); }} />
        <output class="quantity" for="keypad-field">{reason ? t("number.nothing_yet") : quantityText(plainly(text)!, props.unit)}</output>
        <p id="keypad-range" class="soft small">{props.range}</p>
        <p id="keypad-wrong" class="wrong" role="status">{shown || ""}</p>
      </div>
      <Keys press={press} places={props.places} signed={props.signed ?? false} />
      <div class="key-words">
        <button type="button" class="button key word" onClick={() => press("clear")}>{t("key.clear")}</button>
        <button type="button" class="button key word" onClick={props.onLeave}>{t("key.leave")}</button>
        <button type="submit" class="button primary key word whole">{t("key.done")}</button>
      </div>
    </form>
  );
}

function Keys({ press, places, signed }: { press: (key: string) => void; places: number; signed: boolean }) {
  const digit = (d: string) => <button type="button" class="button key" onClick={() => press(d)}>{d}</button>;
  return (
    <div class="keys">
      {["7", "8", "9", "4", "5", "6", "1", "2", "3"].map(digit)}
      {places > 0 ? <button type="button" class="button key" aria-label={t("key.point")} onClick={() => press(".")}>.</button> : <span />}
      {digit("0")}
      <button type="button" class="button key" aria-label={t("key.back")} onClick={() => press("back")}>{"\u232b"}</button>
      {signed && <button type="button" class="button key whole" aria-label={t("key.sign")} onClick={() => press("sign")}>{"\u00b1"}</button>}
    </div>
  );
}
