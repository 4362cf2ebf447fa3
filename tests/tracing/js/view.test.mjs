import assert from "node:assert/strict";
import { test } from "node:test";

import { View } from "../../../tracing/static/js/view.js";

const TINY_PX = 1e-9;

function viewOf({ width = 1280, height = 720, ratio = 1, picture = [20000, 14000], levelCount = 7 } = {}) {
  const view = new View();
  view.setWindow(width, height, ratio);
  view.setPicture({ width: picture[0], height: picture[1], levelCount });
  return view;
}

function near(found, wanted, tolerance) {
  found.forEach((value, i) => assert.ok(Math.abs(value - wanted[i]) <= tolerance, `${found} is not ${wanted}`));
}

test("a pixel's centre lies half a pixel right of and below its corner on the screen", () => {
  const view = viewOf();
  view.centreOn([1000, 1000], 8);

  const [left, top, width, height] = view.deviceBox(1000, 1000, 1001, 1001);

  near(view.toScreen([1000, 1000]), [left + width / 2, top + height / 2], TINY_PX);
  assert.equal(width, 8);
  assert.equal(height, 8);
});

test("screen to picture and back is the same place, at any zoom and any device", () => {
  for (const ratio of [1, 1.25, 2, 3]) {
    const view = viewOf({ ratio });
    for (const factor of [1, 3.7, 41, 500]) {
      view.fit();
      view.zoomAt([311, 207], factor);
      near(view.toScreen(view.toPicture([123.25, 456.5])), [123.25, 456.5], 1e-8);
    }
  }
});

test("the canvas transform and toScreen agree", () => {
  const view = viewOf({ ratio: 1.5 });
  view.zoomAt([640, 360], 33);
  const { scale, x, y } = view.deviceTransform();

  const [sx, sy] = view.toScreen([4321.25, 1234.75]);

  near([sx * 1.5, sy * 1.5], [4321.25 * scale + x, 1234.75 * scale + y], 1e-6);
});

test("zooming keeps the place under the pointer, to less than one device px, and does not creep", () => {
  const view = viewOf();
  view.centreOn([7000, 3000], 1);
  const place = view.toPicture([900, 100]);

  for (let i = 0; i < 200; i += 1) view.zoomAt([900, 100], i % 2 ? 1 / 1.013 : 1.013);

  near(view.toScreen(place), [900, 100], 1);
});

test("zoom ends at 3200 % and where the picture is half the area", () => {
  const view = viewOf();

  view.zoomAt([640, 360], 1e6);
  assert.equal(view.scale, 32);
  view.zoomAt([640, 360], 1e-9);
  assert.ok(view.scale * 20000 >= 0.45 * 720);
});

test("tiles are whole device px wide at every zoom, so that they meet without seams", () => {
  for (const ratio of [1, 1.25, 1.5, 2]) {
    const view = viewOf({ ratio });
    for (let i = 0; i < 60; i += 1) {
      view.zoomAt([200, 300], 1.1234);
      const level = Math.min(6, Math.max(0, Math.floor(-Math.log2(view.scale * ratio))));
      const wide = 512 * 2 ** level * view.scale * ratio;
      assert.ok(Math.abs(wide - Math.round(wide)) < 1e-6, `${wide} at ${view.scale}`);
    }
  }
});

test("fit shows the whole picture", () => {
  const view = viewOf();

  const [x0, y0, x1, y1] = view.visibleBox();

  assert.ok(x0 < -0.5 && y0 < -0.5 && x1 > 19999.5 && y1 > 13999.5);
});

test("a picture dragged away stays in sight by an edge", () => {
  const view = viewOf();

  view.panBy(1e7, -1e7);

  const [sx, sy] = view.toScreen([-0.5, 13999.5]);
  assert.ok(sx <= 1280 - 40 && sy >= 40);
});

test("news below the picture move nothing; a larger change keeps the whole picture whole", () => {
  const view = new View();
  view.setWindow(900, 600, 1);
  view.setPicture({ width: 4000, height: 3000 });
  const before = view.toScreen([1000, 1000]);

  view.setWindow(900, 550, 1);
  assert.deepEqual(view.toScreen([1000, 1000]), before);
  view.setWindow(900, 300, 1);
  const [, bottom] = view.toScreen([3999, 2999]);
  assert.ok(bottom < 300);
  view.zoomAt([450, 150], 8);
  const middle = view.toPicture([450, 150]);
  view.setWindow(900, 600, 1);
  for (const [axis, value] of view.toPicture([450, 300]).entries()) assert.ok(Math.abs(value - middle[axis]) < 1);
});
