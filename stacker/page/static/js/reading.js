// How far the server is with a burst: frames are read, then it looks how they are held.

import { notice } from "./notices.js";
import { progress } from "./server.js";

const ASK_MS = 400;

/**
 * Return what follows the reading of a burst of `count` frames.
 *
 * `tell(told)` is handed each answer, `lookAnew()` is called when a picture would be another, and
 * `complete()` once all frames are there.
 */
export function makeReading({ key, count, tell, lookAnew, complete }) {
  // how many frames were read when the picture was last asked for
  let seenOf = 0;
  let following = false;
  // whether what is shown will soon be another picture
  let passing = false;
  let closed = false;

  function look(loaded) {
    seenOf = loaded;
    lookAnew();
  }

  /** Ask until the pictures will stay as they are. */
  async function follow() {
    if (following) return;
    following = true;
    let told = { ready: seenOf === count };
    do {
      const before = told;
      try {
        told = await progress(key);
      } catch (error) {
        notice(error.message);
        break;
      }
      if (closed) return;
      tell(told);
      // nothing can be seen before the first frame is read, and more of it with half as many again
      if (!told.ready && told.loaded >= Math.max(1, 1.5 * seenOf)) look(told.loaded);
      if (told.ready && !before.ready) {
        look(count);
        complete();
      }
      if (!told.ready || told.looking || passing)
        await new Promise((done) => setTimeout(done, ASK_MS));
    } while (!closed && (!told.ready || told.looking));
    following = false;
    if (closed || !(passing && told.ready)) return;
    passing = false;
    look(count);
  }

  return {
    follow,
    /** Follow until a picture that will soon be another can be asked for anew. */
    pass() {
      passing = true;
      follow();
    },
    /** Return whether there is anything to be seen yet. */
    begun: () => seenOf > 0,
    close() {
      closed = true;
    },
  };
}
