// Quantities on the screen: number and unit are one, large, and never cut.

import { quantityText, type Unit } from "./decimal";

interface QuantityProps {
  /** A plain decimal. */
  readonly value: string;
  readonly unit: Unit;
  /** great is read from across the chair; plain takes the size of the text around it. */
  readonly size?: "great" | "plain";
}

/** Quantity shows a dose, a volume or a distance. */
export function Quantity({ value, unit, size }: QuantityProps) {
  return <span class={size ? `quantity ${size}` : "quantity"}>{quantityText(value, unit)}</span>;
}
