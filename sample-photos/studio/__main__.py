from .make import main

raise SystemExit(main())
