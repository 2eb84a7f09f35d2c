// A picture from the camera or a file, in memory: it is drawn on a canvas. Nothing here stores or sends it.
const LARGEST_FILE = 40e6, // bytes
  LARGEST = 64e6, // pixels; decoded they take four bytes each
  QUALITIES = [0.92, 0.85, 0.75],
  SMALLER = 0.75, // of each side, when the coarsest JPEG is still too large
  SIDE = 2048; // pixels of the longer side that are kept: a tilt of 0.1 degrees moves an end by two of them

/** Reads `file` into a canvas, upright as the camera says. Resolves to {canvas}, or to {fault: key of the words}. */
export async function pictureOf(file) {
  if (file.type && !file.type.startsWith("image/")) return { fault: "photo.no_picture" };
  if (file.size > LARGEST_FILE) return { fault: "photo.too_large" };
  const pixels = await sizeOf(file);
  if (!pixels) return { fault: "photo.no_picture" };
  if (pixels > LARGEST) return { fault: "photo.too_large" };
  const bitmap = await createImageBitmap(file, { imageOrientation: "from-image" }).catch(() => null);
  return bitmap ? { canvas: shrunk(bitmap) } : { fault: "photo.no_picture" };
}

/**
 * The picture as JPEG of at most `most` bytes: finer first, then coarser, then smaller. Drawn anew from its pixels
 * alone, it carries nothing that the camera wrote beside them (place, time, device).
 */
export async function jpegOf(picture, most) {
  for (const quality of QUALITIES) {
    const blob = await encoded(picture, quality);
    if (blob.size <= most) return blob;
  }
  const smaller = scaled(picture, SMALLER, picture.width, picture.height);
  return jpegOf(smaller, most).finally(() => emptied(smaller));
}

/** The same picture a quarter turn clockwise. */
export function turned(picture) {
  const canvas = blank(picture.height, picture.width),
    pen = canvas.getContext("2d");
  pen.setTransform(0, 1, -1, 0, picture.height, 0);
  pen.drawImage(picture, 0, 0);
  emptied(picture);
  return canvas;
}

/** Gives the memory back at once, without waiting for the garbage collector. */
export function emptied(picture) {
  picture.width = picture.height = 0;
}

/** Pixels of a picture, known before it is decoded: a small file can unfold to gigabytes. 0 when it is none. */
function sizeOf(file) {
  const url = URL.createObjectURL(file),
    image = new Image();
  return new Promise((tell) => {
    image.onload = () => tell(image.naturalWidth * image.naturalHeight);
    image.onerror = () => tell(0);
    image.src = url;
  }).finally(() => URL.revokeObjectURL(url));
}

const encoded = (picture, quality) => new Promise((tell) => picture.toBlob(tell, "image/jpeg", quality));

function shrunk(bitmap) {
  const { width, height } = bitmap,
    canvas = scaled(bitmap, Math.min(1, SIDE / Math.max(width, height)), width, height);
  bitmap.close();
  return canvas;
}

function scaled(picture, scale, width, height) {
  const canvas = blank(Math.round(width * scale), Math.round(height * scale)),
    pen = canvas.getContext("2d");
  pen.imageSmoothingQuality = "high";
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  return canvas;
}

function blank(width, height) {
  const canvas = document.createElement("canvas");
  return Object.assign(canvas, { width: Math.max(1, width), height: Math.max(1, height) });
}
