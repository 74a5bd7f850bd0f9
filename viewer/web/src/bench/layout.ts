// Where things are on the desk, as far as its width tells.

/** Where everything is, in pixels of the desk. */
export interface Layout {
  readonly wide: number; // of the desk
  readonly stacked: boolean; // names above the strips, as on a phone
  readonly names: number; // width of the column of names
  readonly reads: number; // and of the readings
  readonly left: number; // room for labels in front of the plots, part of the canvas
  readonly plot: number; // width of the plots
}

export function layoutOf(wide: number): Layout {
  const stacked = wide < 760;
  const [names, reads, left] = stacked ? [0, 0, 40] : [132, wide < 1000 ? 174 : 216, 44];
  return { wide, stacked, names, reads, left, plot: Math.max(80, Math.floor(wide - names - reads - left - (stacked ? 1 : 0))) };
}

/** Pixel columns of the device in a plot: what a window is cut into. */
export const columnsOf = (l: Layout): number => Math.max(1, Math.round(l.plot * devicePixelRatio));

/** How wide the desk of a page will be, by the style sheet's sides, before anything is laid out. */
export const deskWidth = (page: number): number => Math.min(page, 1280) - 2 * (page <= 640 ? 16 : 40);
