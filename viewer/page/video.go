package page

import (
	"fmt"
	"html/template"
)

// VideoPolicy lets a page play what a reader chooses on the device, and nothing else; it is
// added to the content policy of the pages that have a place for a video.
const VideoPolicy = "; media-src blob:"

// Video is the place for a video of the match that a reader may choose; bellS is the end of the
// match in match time. It is hidden until a script makes use of it.
func Video(bellS float64) template.HTML {
	return template.HTML(fmt.Sprintf(`<section class="row video screen" id="video" aria-labelledby="video-h" data-bell="%.3f" hidden>
<div class="margin"><h2 id="video-h">Match video</h2><p class="key">Played from this device; it is sent nowhere.</p></div>
<div><p class="pick"><span id="video-for">A video of this match</span> <input type="file" id="video-file" aria-labelledby="video-for" accept="video/*"></p>
<p class="trouble" role="alert" hidden></p>
<div class="film" hidden><video id="film" controls playsinline preload="auto" aria-label="The match"></video>
<div class="line-up"><p role="status"></p><button type="button" class="plain-button" data-moment="start">Autonomous starts here</button> <button type="button" class="plain-button" data-moment="bell">The bell is here</button>
<p class="key">Then the ribbon, its pins and <em>Show in the video</em> lead to the moment. Keys: v plays and stops, comma and full stop step a tenth of a second.</p></div></div></div>
</section>`, bellS))
}
