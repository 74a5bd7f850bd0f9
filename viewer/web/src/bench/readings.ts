// What the signals on screen read at the cursors, asked for when the view has come to rest and
// known until a cursor or a strip changes.

import type { API, Value } from "./api";
import type { State } from "./state";

type Asked = Pick<State, "a" | "b" | "strips">;

const keyOf = ({ a, b, strips }: Asked): string => JSON.stringify([a, b, strips]);

export class Readings {
  private values = new Map<string, Value[]>();
  private of = "";

  constructor(private readonly api: Pick<API, "values">, private readonly now: () => Asked) {}

  async load(): Promise<void> {
    const { a, b, strips } = this.now();
    const key = keyOf({ a, b, strips });
    const times = [a, b].filter((t) => t !== undefined);
    if (key === this.of || times.length === 0 || strips.length === 0) {
      this.of = key;
      return;
    }
    const got = await this.api.values(strips, times);
    if (key !== keyOf(this.now())) return;
    this.values = got;
    this.of = key;
  }

  /** What each signal reads at A and at B, as far as it is known. */
  get(): (name: string) => readonly [Value | undefined, Value | undefined] {
    const { a, b, strips } = this.now();
    const known = this.of === keyOf({ a, b, strips });
    return (name) => {
      const of = known ? this.values.get(name) : undefined;
      return [a === undefined ? undefined : of?.[0], b === undefined ? undefined : of?.[of.length - 1]];
    };
  }
}
