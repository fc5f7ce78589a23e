package web

import (
	"context"
	"errors"
	"net/http"
	"sync"
	"time"

	"dustlog/internal/clearance"
	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

// Server is one shop's page.
type Server struct {
	o       Options
	recent  *recent
	viewers *viewers
	guard   *guard
	pages   *pages

	today     kept[exposure.Result]
	past      kept[exposure.Result]
	diary     kept[diaryNow]
	forgotten kept[[]study.ForgottenStop]
	traces    shelf[traceQuery, drawing]
	pictures  shelf[string, drawing]
	spells    shelf[study.Window, exposure.Result]
	compares  shelf[pair, compare.Result]
	clearings shelf[clearing, clearance.Result]
	spreads   shelf[string, *compare.Spread]

	stop    context.CancelFunc
	ctx     context.Context // of the work that outlives a request
	workers sync.WaitGroup
}

// New makes a page. Close ends its work.
func New(o Options) (*Server, error) {
	o = o.withDefaults()
	if o.Records == nil {
		return nil, errors.New("a page needs records to read")
	}
	pages, err := loadPages(o.Settings.Zone)
	if err != nil {
		return nil, err
	}
	guard, err := newGuard(o)
	if err != nil {
		return nil, err
	}
	s := &Server{o: o, recent: newRecent(o.Settings.Atmospheric), viewers: newViewers(), pages: pages, guard: guard}
	s.ctx, s.stop = context.WithCancel(context.Background())
	return s, nil
}

// Offer hands over a reading that a collector has just taken. It never waits; see
// package doc. It may be called from one goroutine at a time or several.
func (s *Server) Offer(r dust.Reading) { s.recent.offer(r) }

// Run follows the readings and tells the viewers, until ctx ends.
func (s *Server) Run(ctx context.Context) {
	if err := s.remember(ctx); err != nil && ctx.Err() == nil {
		s.o.Log.Warn("the last minutes cannot be read, the page begins without them", "error", err)
	}
	ticker := time.NewTicker(tick)
	defer ticker.Stop()
	said := int64(0)
	for {
		select {
		case <-ctx.Done():
			return
		case r := <-s.recent.queue:
			s.recent.take(r)
		case <-ticker.C:
			if s.o.Follow {
				if err := s.follow(ctx); err != nil && ctx.Err() == nil {
					s.o.Log.Warn("new readings cannot be read, will try again", "error", err)
				}
			}
			if missed := s.recent.missed.Load(); missed > said {
				s.o.Log.Warn("the page could not keep up; the store has every reading", "readings_not_shown", missed-said)
				said = missed
			}
			s.tell(ctx)
		}
	}
}

// Close ends the work in hand and the viewers' streams.
func (s *Server) Close() {
	s.stop()
	s.viewers.closeAll()
	s.workers.Wait()
}

// background runs work that the server owns.
func (s *Server) background(work func(context.Context)) {
	s.workers.Go(func() { work(s.ctx) })
}

// study opens a study of the records as they are now.
func (s *Server) study(ctx context.Context) (*study.Study, error) {
	return study.Open(ctx, s.o.Records, s.o.Settings)
}

// zone is the shop's.
func (s *Server) zone() *time.Location { return s.o.Settings.Zone }

// Handler serves the page.
func (s *Server) Handler() http.Handler { return s.guard.wrap(s.routes()) }

// notFound says that there is no such page.
func (s *Server) notFound(w http.ResponseWriter, r *http.Request) {
	s.refuse(w, r, http.StatusNotFound, "there is no page at this address")
}

func (s *Server) routes() *http.ServeMux {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.showNow)
	mux.HandleFunc("GET /live", s.live)
	mux.HandleFunc("GET /dock", s.showDock)
	mux.HandleFunc("GET /trace", s.showTrace)
	mux.HandleFunc("GET /trace.svg", s.drawTrace)
	mux.HandleFunc("GET /diary", s.showDiary)
	mux.HandleFunc("GET /days", s.showDays)
	mux.HandleFunc("GET /days/{day}", s.showDay)
	mux.HandleFunc("GET /days/{day}/trace.svg", s.drawDay)
	mux.HandleFunc("GET /tasks", s.showTasks)
	mux.HandleFunc("GET /tasks/dose.svg", s.drawDoses)
	mux.HandleFunc("GET /setups", s.showSetups)
	mux.HandleFunc("GET /setups/sessions.svg", s.drawSessions)
	mux.HandleFunc("GET /setups/sizes.svg", s.drawSizes)
	mux.HandleFunc("GET /clearance", s.showClearance)
	mux.HandleFunc("GET /plan", s.showPlan)
	mux.HandleFunc("GET /calibration", s.showCalibrations)
	mux.HandleFunc("GET /limits", s.showLimits)
	mux.HandleFunc("GET /more", s.showMore)
	mux.HandleFunc("GET /report", s.showReport)
	mux.HandleFunc("GET /report/view", s.sendReport)
	mux.HandleFunc("POST /diary/enter", s.forWriters(s.enter))
	mux.HandleFunc("GET /login", s.showLogin)
	mux.HandleFunc("POST /login", s.login)
	mux.HandleFunc("POST /logout", s.logout)
	mux.HandleFunc("GET /static/{name}", s.pages.static)
	mux.HandleFunc("GET /", s.notFound)
	return mux
}
