// Photos made smaller on the phone. A browser turns a picture upright by its EXIF
// orientation when it draws it, so what is drawn needs no orientation any more.

// Pixels of the longer side that are sent: above what the laptop looks at (1600 and
// more), so that nothing it could read is lost.
const SIDE = 2400;
const QUALITY = 0.9;
// A small file is sent as it is: shrinking would only add a second compression.
const SMALL = 1500000;

export async function shrink(file) {
  const name = file.name || "photo.jpg";
  let picture;
  try {
    picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  } catch {
    // Not a picture this browser knows. The laptop may, or will say what is wrong.
    return { blob: file, name };
  }
  const longer = Math.max(picture.width, picture.height);
  if (longer <= SIDE && file.size <= SMALL) {
    picture.close();
    return { blob: file, name };
  }
  const factor = Math.min(1, SIDE / longer);
  const canvas = document.createElement("canvas");
  canvas.width = Math.max(1, Math.round(picture.width * factor));
  canvas.height = Math.max(1, Math.round(picture.height * factor));
  const context = canvas.getContext("2d");
  context.fillStyle = "#fff";
  context.fillRect(0, 0, canvas.width, canvas.height);
  context.imageSmoothingQuality = "high";
  context.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  const blob = await new Promise((resolve) => canvas.toBlob(resolve, "image/jpeg", QUALITY));
  // Some phones give an empty canvas back when memory is short.
  return blob ? { blob, name: name.replace(/\.\w+$/, "") + ".jpg" } : { blob: file, name };
}
