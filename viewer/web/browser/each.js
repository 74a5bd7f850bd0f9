// Pages know nothing of each other, and one alone leaves half of a machine idle.

/** Of a test whose parts are pages. */
export const atOnce = { concurrency: 2 };

/**
 * A part of the test for each, some at a time.
 * @template T
 * @param {import("node:test").TestContext} t a test that is atOnce
 * @param {Iterable<readonly [string, T]>} all by name
 * @param {(of: T, name: string) => Promise<void>} look
 */
export async function each(t, all, look) {
  await Promise.all([...all].map(([name, of]) => t.test(name, () => look(of, name))));
}
