// How a picture with its points is drawn: the whole of it, and a piece under the loupe.
const MARK = 11, // radius of a point, in pixels of the screen
  ZOOM = 3; // the loupe shows a pixel of the picture this many times larger than the screen's

/** Where a picture stands in a box of this size, all of it to be seen: {scale, left, top}. */
export function fitted(picture, width, height) {
  const scale = Math.min(width / picture.width, height / picture.height);
  return { scale, left: (width - picture.width * scale) / 2, top: (height - picture.height * scale) / 2 };
}

/** `points`: places in the picture or null; `lines`: [[from, to, colour]] by index; `selected`: index. */
export function drawPicture(canvas, picture, { points, lines, colours, selected }) {
  const pen = cleared(canvas),
    { scale, left, top } = fitted(picture, canvas.clientWidth, canvas.clientHeight);
  const onScreen = points.map((point) => point && [left + point[0] * scale, top + point[1] * scale]);
  pen.imageSmoothingQuality = "high";
  pen.drawImage(picture, left, top, picture.width * scale, picture.height * scale);
  for (const [from, to, colour] of lines)
    if (onScreen[from] && onScreen[to]) twice(pen, colours[colour], 2.5, () => line(pen, onScreen[from], onScreen[to]));
  onScreen.forEach((point, i) => point && mark(pen, point, i, colours[i], i === selected));
}

/** The surroundings of one place, large, with a cross on it. */
export function drawLoupe(canvas, picture, point, colour) {
  const pen = cleared(canvas),
    { clientWidth: width, clientHeight: height } = canvas;
  if (!point) return;
  pen.imageSmoothingEnabled = false;
  pen.setTransform(...zoomed(canvas, point, width, height));
  pen.drawImage(picture, 0, 0);
  pen.setTransform(ratio(), 0, 0, ratio(), 0, 0);
  const [x, y] = [width / 2, height / 2];
  twice(pen, colour, 2, () => {
    for (const [dx, dy] of [
      [1, 0],
      [-1, 0],
      [0, 1],
      [0, -1],
    ])
      line(pen, [x + dx * 5, y + dy * 5], [x + dx * 34, y + dy * 34]);
  });
}

const ratio = () => devicePixelRatio || 1;

function zoomed(canvas, [x, y], width, height) {
  const scale = ZOOM * ratio();
  return [scale, 0, 0, scale, (width * ratio()) / 2 - x * scale, (height * ratio()) / 2 - y * scale];
}

/** A pen over the emptied canvas, whose pixels are made as fine as the screen's. */
function cleared(canvas) {
  canvas.width = Math.max(1, Math.round(canvas.clientWidth * ratio()));
  canvas.height = Math.max(1, Math.round(canvas.clientHeight * ratio()));
  const pen = canvas.getContext("2d");
  pen.setTransform(ratio(), 0, 0, ratio(), 0, 0);
  return pen;
}

/** Light below, colour above: seen on skin, hair and wax alike. */
function twice(pen, colour, width, path) {
  for (const [strokeStyle, lineWidth] of [
    ["#fff", width + 3],
    [colour, width],
  ]) {
    Object.assign(pen, { strokeStyle, lineWidth, lineCap: "round" });
    pen.beginPath();
    path();
    pen.stroke();
  }
}

function line(pen, from, to) {
  pen.moveTo(...from);
  pen.lineTo(...to);
}

/** A ring with an open middle, so that what it points at stays to be seen. */
function mark(pen, [x, y], i, colour, isSelected) {
  twice(pen, colour, isSelected ? 4 : 2.5, () => {
    pen.moveTo(x + MARK, y);
    pen.arc(x, y, MARK, 0, 2 * Math.PI);
  });
  twice(pen, colour, 1, () => {
    pen.moveTo(x + 1, y);
    pen.arc(x, y, 1, 0, 2 * Math.PI);
  });
  Object.assign(pen, {
    font: "700 17px sans-serif",
    strokeStyle: "#fff",
    fillStyle: colour,
    lineWidth: 5,
    lineJoin: "round",
  });
  pen.strokeText(i + 1, x + MARK + 5, y - MARK);
  pen.fillText(i + 1, x + MARK + 5, y - MARK);
}
