// What strips are drawn on: a canvas on the screen and for PNG, or text for SVG. One drawing
// code serves all three, so that a saved picture is the view.

export type Align = "left" | "center" | "right";

export interface Type { readonly size: number; readonly weight: number; readonly color: string; readonly align?: Align }

export interface Surface {
  /** Width of a device pixel, 0 where there are none. */
  readonly grain: number;
  /** Lines from point to point; NaN in x begins a new one. */
  stroke(points: ArrayLike<number>, color: string, width: number, dash?: readonly number[]): void;
  /** A closed outline, filled. */
  area(points: ArrayLike<number>, fill: string): void;
  rect(x: number, y: number, w: number, h: number, fill: string): void;
  box(x: number, y: number, w: number, h: number, color: string, width: number): void;
  ring(x: number, y: number, r: number, color: string, fill: string, width: number): void;
  triangle(x: number, y: number, r: number, fill: string): void;
  text(said: string, x: number, y: number, type: Type): void;
  width(said: string, type: Type): number;
  /** Draws what `paint` draws only inside the rectangle. */
  clipped(x: number, y: number, w: number, h: number, paint: () => void): void;
}

const family = 'Archivo, "Liberation Sans", Arial, sans-serif';

const fontOf = (t: Type): string => `${t.weight} ${t.size}px ${family}`;

export class CanvasSurface implements Surface {
  private fill = "";

  constructor(private readonly c: CanvasRenderingContext2D, readonly grain = 1) {}

  stroke(points: ArrayLike<number>, color: string, width: number, dash: readonly number[] = []): void {
    const c = this.c;
    c.strokeStyle = color;
    c.lineWidth = width;
    c.lineJoin = "bevel"; // spikes stay where they are
    c.setLineDash(dash as number[]);
    c.beginPath();
    let on = false;
    for (let i = 0; i + 1 < points.length; i += 2) {
      const x = points[i]!;
      if (x !== x) {
        on = false;
      } else if (on) {
        c.lineTo(x, points[i + 1]!);
      } else {
        c.moveTo(x, points[i + 1]!);
        on = true;
      }
    }
    c.stroke();
  }

  area(points: ArrayLike<number>, fill: string): void {
    const c = this.c;
    c.fillStyle = this.fill = fill;
    c.beginPath();
    for (let i = 0; i + 1 < points.length; i += 2) c.lineTo(points[i]!, points[i + 1]!);
    c.fill();
  }

  rect(x: number, y: number, w: number, h: number, fill: string): void {
    if (fill !== this.fill) this.c.fillStyle = this.fill = fill; // the browser reads a colour each time it is set
    this.c.fillRect(x, y, w, h);
  }

  box(x: number, y: number, w: number, h: number, color: string, width: number): void {
    this.c.setLineDash([]);
    this.c.strokeStyle = color;
    this.c.lineWidth = width;
    this.c.strokeRect(x, y, w, h);
  }

  ring(x: number, y: number, r: number, color: string, fill: string, width: number): void {
    const c = this.c;
    c.setLineDash([]);
    c.beginPath();
    c.arc(x, y, r, 0, 2 * Math.PI);
    c.fillStyle = this.fill = fill;
    c.fill();
    c.strokeStyle = color;
    c.lineWidth = width;
    c.stroke();
  }

  triangle(x: number, y: number, r: number, fill: string): void {
    const c = this.c;
    c.fillStyle = this.fill = fill;
    c.beginPath();
    c.moveTo(x - r, y - r);
    c.lineTo(x + r, y - r);
    c.lineTo(x, y + r);
    c.fill();
  }

  private face(t: Type): void {
    this.c.font = fontOf(t);
    if ("fontStretch" in this.c) (this.c as { fontStretch: string }).fontStretch = "semi-condensed";
  }

  text(said: string, x: number, y: number, t: Type): void {
    this.face(t);
    this.c.fillStyle = this.fill = t.color;
    this.c.textAlign = t.align ?? "left";
    this.c.textBaseline = "alphabetic";
    this.c.fillText(said, x, y);
  }

  width(said: string, t: Type): number {
    this.face(t);
    return this.c.measureText(said).width;
  }

  clipped(x: number, y: number, w: number, h: number, paint: () => void): void {
    this.c.save();
    this.c.beginPath();
    this.c.rect(x, y, w, h);
    this.c.clip();
    paint();
    this.c.restore();
    this.fill = ""; // as it was before, which is not remembered
  }
}

const escapes: Record<string, string> = { "&": "&amp;", "<": "&lt;", ">": "&gt;", '"': "&quot;" };

export const escaped = (s: string): string => s.replace(/[&<>"]/g, (c) => escapes[c]!);

const n = (v: number): string => String(Math.round(v * 100) / 100);

/** A picture as text; `measure` tells how wide words are. */
export class SVGSurface implements Surface {
  readonly grain = 0;
  private readonly out: string[] = [];
  private clips = 0;

  constructor(private readonly measure: (said: string, t: Type) => number) {}

  document(width: number, height: number, title: string): string {
    return `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${n(width)} ${n(height)}" width="${n(width)}" height="${n(height)}" role="img" font-family='${family}'>` +
      `<title>${escaped(title)}</title>${this.out.join("")}</svg>\n`;
  }

  stroke(points: ArrayLike<number>, color: string, width: number, dash: readonly number[] = []): void {
    let d = "";
    let on = false;
    for (let i = 0; i + 1 < points.length; i += 2) {
      const x = points[i]!;
      if (x !== x) {
        on = false;
        continue;
      }
      d += (on ? "L" : "M") + n(x) + " " + n(points[i + 1]!);
      on = true;
    }
    if (d === "") return;
    const dashes = dash.length > 0 ? ` stroke-dasharray="${dash.join(" ")}"` : "";
    this.out.push(`<path d="${d}" fill="none" stroke="${color}" stroke-width="${n(width)}" stroke-linejoin="bevel"${dashes}/>`);
  }

  area(points: ArrayLike<number>, fill: string): void {
    let d = "";
    for (let i = 0; i + 1 < points.length; i += 2) d += `${i === 0 ? "M" : "L"}${n(points[i]!)} ${n(points[i + 1]!)}`;
    this.out.push(`<path d="${d}Z" fill="${fill}"/>`);
  }

  rect(x: number, y: number, w: number, h: number, fill: string): void {
    this.out.push(`<rect x="${n(x)}" y="${n(y)}" width="${n(Math.max(0, w))}" height="${n(Math.max(0, h))}" fill="${fill}"/>`);
  }

  box(x: number, y: number, w: number, h: number, color: string, width: number): void {
    this.out.push(`<rect x="${n(x)}" y="${n(y)}" width="${n(Math.max(0, w))}" height="${n(Math.max(0, h))}" fill="none" stroke="${color}" stroke-width="${n(width)}"/>`);
  }

  ring(x: number, y: number, r: number, color: string, fill: string, width: number): void {
    this.out.push(`<circle cx="${n(x)}" cy="${n(y)}" r="${n(r)}" fill="${fill}" stroke="${color}" stroke-width="${n(width)}"/>`);
  }

  triangle(x: number, y: number, r: number, fill: string): void {
    this.out.push(`<path d="M${n(x - r)} ${n(y - r)}h${n(2 * r)}L${n(x)} ${n(y + r)}Z" fill="${fill}"/>`);
  }

  text(said: string, x: number, y: number, t: Type): void {
    const anchor = { left: "start", center: "middle", right: "end" }[t.align ?? "left"];
    this.out.push(`<text x="${n(x)}" y="${n(y)}" font-size="${t.size}" font-weight="${t.weight}" fill="${t.color}" text-anchor="${anchor}">${escaped(said)}</text>`);
  }

  width(said: string, t: Type): number {
    return this.measure(said, t);
  }

  clipped(x: number, y: number, w: number, h: number, paint: () => void): void {
    const id = `c${++this.clips}`;
    this.out.push(`<clipPath id="${id}"><rect x="${n(x)}" y="${n(y)}" width="${n(w)}" height="${n(h)}"/></clipPath><g clip-path="url(#${id})">`);
    paint();
    this.out.push("</g>");
  }
}
