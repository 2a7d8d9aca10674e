// One of a few: buttons in a row, each as large as a gloved finger needs.

import type { ComponentChildren } from "preact";

export interface ChoiceOption<T extends string> {
  readonly value: T;
  readonly label: ComponentChildren;
}

interface ChoiceProps<T extends string> {
  readonly legend: string;
  /** True when the legend is only for those who do not see the row. */
  readonly quiet?: boolean;
  readonly options: readonly ChoiceOption<T>[];
  readonly value: T | undefined;
  readonly onPick: (value: T) => void;
}

/** Choice lets one option be picked. */
export function Choice<T extends string>({ legend, quiet, options, value, onPick }: ChoiceProps<T>) {
  return (
    <fieldset>
      <legend class={quiet ? "only-read" : undefined}>{legend}</legend>
      <div class="choice">
        {options.map((o) => (
          <button type="button" class="button chart" aria-pressed={o.value === value} onClick={() => onPick(o.value)}>{o.label}</button>
        ))}
      </div>
    </fieldset>
  );
}
