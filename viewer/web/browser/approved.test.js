// Pages against the pictures of them that people approved. The sheets are fixtures, which
// no analysis changes, in the embedded face. Compared are means over small squares, so that
// another version of the browser may smooth its letters as it likes, while a line, a colour
// or a label in another place shows. AFTERBELL_APPROVE=1 writes the pictures anew: look at
// them before they are committed.

import assert from "node:assert/strict";
import { readFile, writeFile } from "node:fs/promises";
import { test } from "node:test";
import { fileURLToPath, pathToFileURL } from "node:url";
import { rested, site } from "./site.js";

const jam = "?from=50.6&to=56.2&s=path/mouth/beam&s=path/lift/current&s=power/voltage&s=drive/command&s=robot/mode&a=52.61&b=53.34";

const views = /** @type {const} */ ([
  { name: "sheet", fixture: "busy", width: 1280, scheme: "light", media: "screen" },
  { name: "sheet-phone-dark", fixture: "busy", width: 390, scheme: "dark", media: "screen" },
  { name: "sheet-crowded", fixture: "crowded", width: 1280, scheme: "light", media: "screen", height: 1200 },
  { name: "sheet-few-signals", fixture: "rookie", width: 1280, scheme: "light", media: "screen" },
  { name: "bench", bench: jam, width: 1280, scheme: "light", media: "screen" },
  { name: "bench-phone-dark", bench: jam, width: 390, scheme: "dark", media: "screen" },
  { name: "sheet-print", fixture: "busy", width: 703, scheme: "light", media: "print" },
]);

const share = 0.08; // of the squares in any one part of a page may differ
const part = 80; // side of a part in stored pixels
const step = 24; // of 255, by which a square's mean may differ
const scale = 0.5; // of the stored pictures

/**
 * The part of the page in which the largest share of 4 by 4 squares has means that differ,
 * and both sizes. Runs inside the page.
 * @param {{ a: string, b: string, step: number, part: number }} of two PNG images as data addresses
 */
async function difference({ a, b, step, part }) {
  /** @param {string} address */
  const read = async (address) => {
    const image = new Image();
    image.src = address;
    await image.decode();
    const canvas = document.createElement("canvas");
    canvas.width = image.width;
    canvas.height = image.height;
    const context = canvas.getContext("2d");
    if (!context) throw new Error("no canvas");
    context.drawImage(image, 0, 0);
    return context.getImageData(0, 0, image.width, image.height);
  };
  const [one, two] = [await read(a), await read(b)];
  const square = 4;
  const [wide, high] = [Math.floor(Math.min(one.width, two.width) / square), Math.floor(Math.min(one.height, two.height) / square)];
  /** @type {(from: ImageData, x: number, y: number, channel: number) => number} */
  const mean = (from, x, y, channel) => {
    let sum = 0;
    for (let dy = 0; dy < square; dy++) {
      for (let dx = 0; dx < square; dx++) sum += from.data[((y * square + dy) * from.width + x * square + dx) * 4 + channel] ?? 0;
    }
    return sum / (square * square);
  };
  /** @type {(x: number, y: number) => boolean} */
  const differs = (x, y) => [0, 1, 2].some((channel) => Math.abs(mean(one, x, y, channel) - mean(two, x, y, channel)) > step);
  const side = part / square;
  const worst = { share: 0, x: 0, y: 0 };
  for (let top = 0; top < high; top += side) {
    for (let left = 0; left < wide; left += side) {
      let [count, all] = [0, 0];
      for (let y = top; y < Math.min(top + side, high); y++) {
        for (let x = left; x < Math.min(left + side, wide); x++, all++) if (differs(x, y)) count++;
      }
      if (count / all > worst.share) Object.assign(worst, { share: count / all, x: left * square, y: top * square });
    }
  }
  return { worst, sizes: [[one.width, one.height], [two.width, two.height]] };
}

test("pages look as they were approved", async (t) => {
  const context = await site.browser.newContext({ deviceScaleFactor: scale });
  for (const view of views) {
    await t.test(view.name, async () => {
      const page = await context.newPage();
      await page.setViewportSize({ width: view.width, height: 800 });
      await page.emulateMedia({ colorScheme: view.scheme, media: view.media, reducedMotion: "reduce" });
      await page.goto("bench" in view ? site.benchByHand + view.bench : pathToFileURL(site.fixtures.get(view.fixture) ?? "").href);
      await page.evaluate(() => document.fonts.ready);
      if ("bench" in view) await rested(page);
      const clip = "height" in view ? { clip: { x: 0, y: 0, width: view.width, height: view.height } } : {};
      const got = await page.screenshot({ fullPage: true, ...clip });
      const file = fileURLToPath(new URL(`approved/${view.name}.png`, import.meta.url));
      if (process.env.AFTERBELL_APPROVE) {
        await writeFile(file, got);
      } else {
        const want = await readFile(file);
        /** @param {Buffer} png */
        const address = (png) => "data:image/png;base64," + png.toString("base64");
        const blank = await context.newPage();
        const found = await blank.evaluate(difference, { a: address(want), b: address(got), step, part });
        await blank.close();
        const [[w0 = 0, h0 = 0] = [], [w1 = 0, h1 = 0] = []] = found.sizes;
        assert.ok(w0 === w1 && Math.abs(h0 - h1) <= 0.02 * h0, `is ${w1} by ${h1}, approved ${w0} by ${h0}`);
        const { worst } = found;
        assert.ok(worst.share <= share, `${(100 * worst.share).toFixed(0)} % differs near ${worst.x / scale}, ${worst.y / scale} px; approved is ${file}`);
      }
      await page.close();
    });
  }
  await context.close();
});
