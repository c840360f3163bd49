/* The interlock of src/safety/interlock.hpp once more, written independently as a model for spin:
   three guards stand for all eight, which differ in name only. Checked by tests/safety/check_model. */

#define GUARDS 3
#define MOST_MISSES 3

mtype:reading = { unknown, bad, good }
mtype:state = { safe, ready, armed, tapping, tripped }

mtype:state state = safe;
mtype:reading guard[GUARDS];
bool listeners = false;
bool caused = false;
byte misses = 0;
bool stale = false;      /* a pulse is queued, and was planned before the last arming, stop or trip */
bool queued = false;     /* a pulse is queued */

bool just_armed = false; /* ghosts: which deliberate act this step was */
bool just_cleared = false;

#define HOLD (guard[0] == good && guard[1] == good && guard[2] == good)
#define MOVES (state == armed || state == tapping)
#define PERMIT (state == tapping && HOLD && listeners)
#define FIRES (PERMIT && queued && !stale)

inline trip() {
  if
  :: MOVES -> state = tripped; caused = true; stale = queued
  :: else -> skip
  fi
}

inline settle() {
  if
  :: (state == safe || state == ready) && HOLD -> state = ready
  :: (state == safe || state == ready) && !HOLD -> state = safe
  :: else -> skip
  fi
}

inline see(i, r) {
  guard[i] = r;
  if
  :: r != good -> trip()
  :: else -> skip
  fi;
  settle()
}

active proctype rig() {
  byte i = 0;
  mtype:state before;
  do
  :: i < GUARDS -> guard[i] = unknown; i++
  :: else -> break
  od;
  do
  :: atomic {
      before = state;
      just_armed = false;
      just_cleared = false;
      if
      :: select (i : 0 .. 2);
         if
         :: see(i, unknown)
         :: see(i, bad)
         :: see(i, good)
         fi
      :: listeners = !listeners
      :: /* a contact that no pulse explains */ trip()
      :: /* a tap landed */ misses = 0
      :: /* a tap did not land */
         misses++;
         if
         :: misses >= MOST_MISSES -> misses = 0; trip()
         :: else -> skip
         fi
      :: state == ready -> state = armed; misses = 0; stale = queued; just_armed = true
      :: state == tripped && HOLD -> state = ready; caused = false; just_cleared = true
      :: state == armed -> state = tapping
      :: state == tapping -> state = armed
      :: MOVES -> state = ready; stale = queued; settle() /* stop */
      :: state == tapping && !queued -> queued = true; stale = false
      :: queued -> queued = false; stale = false
      fi;
      assert(!PERMIT || (HOLD && !caused));
      assert(caused == (state == tripped));
      assert(!MOVES || HOLD);
      assert(!(MOVES && before != armed && before != tapping) || just_armed);
      assert(!(before == tripped && state != tripped) || (just_cleared && state == ready));
      assert(!FIRES || (MOVES && !caused))
    }
  od
}

/* A trip lasts until somebody clears it. */
ltl latched { [] ((state == tripped) -> ((state == tripped) W just_cleared)) }
/* What was queued before a stop or a trip never fires. */
ltl stale_never_fires { [] ((queued && stale) -> !FIRES) }
